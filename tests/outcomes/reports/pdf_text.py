"""Reads back a pdf that typst wrote: its text, tags, language, title and text alternatives.

Only what typst writes is understood: plain objects, flate streams, fonts with a table to Unicode.
"""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass, field

OBJECT = re.compile(rb"(?s)(?<!\d)(\d+) 0 obj\s(.*?)\sendobj")


@dataclass
class Pdf:
    """What a reader or a screen reader gets."""

    language: str = ""
    title: str = ""
    tagged: bool = False
    pages: list[str] = field(default_factory=list)
    tags: list[str] = field(default_factory=list)
    alternatives: list[str] = field(default_factory=list)
    sizes: list[tuple[float, float]] = field(default_factory=list)
    fonts_inside: bool = False

    @property
    def text(self) -> str:
        return " ".join(self.pages)


def read_pdf(data: bytes) -> Pdf:
    objects = {int(n): body for n, body in OBJECT.findall(data)}
    every = b"\n".join(body.partition(b"stream")[0] for body in objects.values())
    found = Pdf()
    language = re.search(rb"/Lang\s*\(([^)]*)\)", every)
    found.language = language[1].decode() if language else ""
    found.tagged = b"/MarkInfo" in every and b"/Marked true" in every and b"/StructTreeRoot" in every
    found.tags = [m.decode() for m in re.findall(rb"/StructElem/S/([A-Za-z0-9]+)", every)]
    found.alternatives = [_text(_token(every, m.end())) for m in re.finditer(rb"/Alt\s*", every)]
    title = re.search(rb"(?s)<dc:title>.*?<rdf:li[^>]*>(.*?)</rdf:li>", data)
    found.title = title[1].decode() if title else ""
    found.fonts_inside = b"/FontDescriptor" in every and len(re.findall(rb"/FontFile\d?\b", every)) == len(
        re.findall(rb"/Type/FontDescriptor", every)
    )
    fonts = {n: _characters(objects, body) for n, body in objects.items() if b"/ToUnicode" in body}
    for body in objects.values():
        if re.search(rb"/Type/Page\b(?!s)", body):
            box = re.search(rb"/MediaBox\[([^\]]*)\]", body)
            left, low, right, high = (float(x) for x in box[1].split())
            found.sizes.append((right - left, high - low))
            found.pages.append(_page(objects, body, fonts))
    return found


def _token(data: bytes, start: int) -> bytes:
    """Return the text that begins at `start`: in angle brackets, or in round ones that may be nested."""
    if data[start : start + 1] == b"<":
        return data[start : data.index(b">", start) + 1]
    depth, i = 0, start
    while True:
        if data[i : i + 1] == b"\\":
            i += 1
        elif data[i : i + 1] in (b"(", b")"):
            depth += 1 if data[i : i + 1] == b"(" else -1
            if not depth:
                return data[start : i + 1]
        i += 1


def _text(token: bytes) -> str:
    if token.startswith(b"<"):
        raw = bytes.fromhex(token[1:-1].decode())
    else:
        raw = re.sub(rb"\\([0-7]{3}|.)", _escape, token[1:-1], flags=re.S)
    return raw[2:].decode("utf-16-be") if raw.startswith(b"\xfe\xff") else raw.decode("latin-1")


def _escape(match) -> bytes:
    code = match[1]
    if len(code) == 3:
        return bytes([int(code, 8)])
    return {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}.get(code, code)


def _stream(body: bytes) -> bytes:
    raw = body.partition(b"stream")[2].lstrip(b"\r\n").rpartition(b"endstream")[0]
    return zlib.decompressobj().decompress(raw) if b"/FlateDecode" in body else raw


def _characters(objects, body: bytes) -> dict[int, str]:
    table = _stream(objects[int(re.search(rb"/ToUnicode (\d+) 0 R", body)[1])])
    known = {}
    for block in re.findall(rb"(?s)beginbfchar(.*?)endbfchar", table):
        for code, text in re.findall(rb"<([0-9A-Fa-f]+)>\s*<([0-9A-Fa-f]+)>", block):
            known[int(code, 16)] = bytes.fromhex(text.decode()).decode("utf-16-be")
    for block in re.findall(rb"(?s)beginbfrange(.*?)endbfrange", table):
        for low, high, text in re.findall(rb"<([0-9A-Fa-f]+)>\s*<([0-9A-Fa-f]+)>\s*<([0-9A-Fa-f]+)>", block):
            first = int(text, 16)
            known |= {c: chr(first + c - int(low, 16)) for c in range(int(low, 16), int(high, 16) + 1)}
    return known


def _page(objects, body: bytes, fonts) -> str:
    resources = re.search(rb"/Resources (\d+) 0 R", body)
    within = objects[int(resources[1])] if resources else body
    names = {name: int(n) for name, n in re.findall(rb"/([A-Za-z]+\d+) (\d+) 0 R", within)}
    content = b"\n".join(
        _stream(objects[int(n)])
        for n in re.findall(rb"(\d+) 0 R", re.search(rb"/Contents\s*(\[[^\]]*\]|\d+ 0 R)", body)[1])
    )
    words, font = [], {}
    for name, strings, end in re.findall(
        rb"(?s)/(\w+) [\d.]+ Tf|(\[(?:[^\]\\]|\\.)*?\]\s*TJ|<[0-9A-Fa-f]+>\s*Tj|\((?:\\.|[^\\)])*\)\s*Tj)|(\bET\b)",
        content,
    ):
        if name:
            font = fonts.get(names.get(name, -1), {})
        elif end:
            words.append(" ")
        else:
            for token in re.findall(rb"(?s)<[0-9A-Fa-f]+>|\((?:\\.|[^\\)])*\)", strings):
                raw = (
                    bytes.fromhex(token[1:-1].decode())
                    if token.startswith(b"<")
                    else re.sub(rb"(?s)\\([0-7]{3}|.)", _escape, token[1:-1])
                )
                words.append(
                    "".join(font.get(int.from_bytes(raw[i : i + 2], "big"), "") for i in range(0, len(raw), 2))
                )
    return re.sub(r"\s+", " ", "".join(words)).strip()
