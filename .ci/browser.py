"""The pages in a browser: no console line, no request, no serious finding of axe-core, reflow at 320 px, print.

Usage: browser.py AXE_JS PAGE...   (Debian package: chromium)
"""

from __future__ import annotations

import html
import json
import re
import subprocess
import sys
import tempfile
from pathlib import Path

BROWSER = [
    "chromium", "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run",
    "--disable-component-update", "--disable-sync", "--disable-extensions", "--host-resolver-rules=MAP * ~NOTFOUND",
]  # fmt: skip
OWN = re.compile(r"https?://[^/]*(?:google|gstatic|googleapis|gvt1|chromium)\.")
"""Addresses that the browser itself asks for, whatever the page."""


def run(*options: str) -> subprocess.CompletedProcess[str]:
    with tempfile.TemporaryDirectory() as profile:
        command = [*BROWSER, f"--user-data-dir={profile}", *options]
        return subprocess.run(command, capture_output=True, text=True, timeout=180, check=False)


def dumped(text: str, folder: Path, name: str) -> str:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return run("--virtual-time-budget=30000", "--dump-dom", path.as_uri()).stdout


def result(dom: str) -> object:
    found = re.search(r'<pre id="result">(.*?)</pre>', dom, re.DOTALL)
    if found is None:
        sys.exit("the browser gave no answer")
    return json.loads(html.unescape(found[1]))


def quiet(page: Path, folder: Path) -> list[str]:
    """Return console lines and requests of a page as it is."""
    log = folder / "net.json"
    ran = run(
        "--enable-logging=stderr", f"--log-net-log={log}", "--virtual-time-budget=5000", "--dump-dom", page.as_uri()
    )
    faults = [line for line in ran.stderr.splitlines() if ":CONSOLE" in line]
    urls = set(re.findall(r'"url":"(https?://[^"]+)"', log.read_text(encoding="utf-8", errors="replace")))
    return faults + [f"asks for {url}" for url in sorted(urls) if not OWN.match(url)]


def serious(page: Path, axe: str, folder: Path) -> list[str]:
    """Return the serious and critical findings of axe-core, the page's policy lifted so that the checker can run."""
    text = re.sub(r"<meta http-equiv=\"Content-Security-Policy\"[^>]*>", "", page.read_text(encoding="utf-8"))
    check = (
        f"<script>{axe}</script><script>axe.run().then(r => {{"
        "const p = document.createElement('pre'); p.id = 'result';"
        "p.textContent = JSON.stringify(r.violations.map(v => [v.impact, v.id, v.nodes.map(n => n.html)]));"
        "document.body.append(p); });</script>"
    )
    found = result(dumped(text.replace("</body>", f"{check}</body>"), folder, "axe.html"))
    return [f"{impact}: {name}: {nodes[0][:160]}" for impact, name, nodes in found if impact in ("serious", "critical")]


def too_wide(page: Path, folder: Path) -> list[str]:
    """Return how much wider than 320 px the page is in a window of 320 px."""
    inner = html.escape(page.read_text(encoding="utf-8"), quote=True)
    outer = (
        f'<!DOCTYPE html><body><iframe id="f" width="320" height="900" style="border:0" srcdoc="{inner}"></iframe>'
        "<script>document.getElementById('f').onload = e => { const d = e.target.contentDocument.documentElement;"
        "const p = document.createElement('pre'); p.id = 'result'; p.textContent = JSON.stringify(d.scrollWidth);"
        "document.body.append(p); }</script></body>"
    )
    width = result(dumped(outer, folder, "narrow.html"))
    return [] if int(str(width)) <= 320 else [f"is {width} px wide in a window of 320 px"]


PRINTED = {"funder": 2, "participant": 1}
"""Most pages on which the html of a reader may print."""


def unprinted(page: Path, folder: Path) -> list[str]:
    """Return whether the page cannot be printed, or runs over the pages that its reader is promised."""
    target = folder / "print.pdf"
    run(f"--print-to-pdf={target}", "--no-pdf-header-footer", page.as_uri())
    pages = len(re.findall(rb"/Type\s*/Page\b", target.read_bytes())) if target.is_file() else 0
    print(f"  prints on {pages} pages")
    most = next((n for reader, n in PRINTED.items() if reader in page.parts), pages)
    return ["does not print"] if not pages else [f"prints on {pages} pages, not {most}"] if pages > most else []


def main() -> None:
    axe = Path(sys.argv[1]).read_text(encoding="utf-8")
    faults = []
    for name in sys.argv[2:]:
        page = Path(name).resolve()
        print(page.parent.name, page.name)
        with tempfile.TemporaryDirectory() as temporary:
            folder = Path(temporary)
            found = quiet(page, folder) + serious(page, axe, folder) + too_wide(page, folder) + unprinted(page, folder)
        faults += [f"{page.parent.name}/{page.name}: {fault}" for fault in found]
    if faults:
        sys.exit("\n".join(faults))


if __name__ == "__main__":
    main()
