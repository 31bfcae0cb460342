"""Seal a protocol: write its hash and the day into the file, so that a later difference can be seen."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from outcomes.errors import UsageError
from outcomes.files import write_whole
from protocols.reading import parse_protocol, read_protocol
from protocols.schema import Protocol


def freeze(path: str | Path, *, on: date | None = None) -> Protocol:
    """Append ``[frozen]`` to a protocol file; the author's text and comments stay as they are.

    Parameters
    ----------
    path : path
    on : date, optional
        Day of sealing; today by default.

    Returns
    -------
    Protocol
        The sealed protocol. One that is sealed and unchanged is returned as it is, with its first day.

    Raises
    ------
    DefinitionError
        The protocol has faults; a faulty plan is not sealed.
    UsageError
        It was sealed and changed since, or the file cannot be written.

    Notes
    -----
    A changed plan is not sealed again over the old seal: that would hide the change. Reports print it as "changed after
    freezing". Whoever means to begin anew takes the section ``[frozen]`` out first, by hand.
    """
    path = Path(path)
    protocol = read_protocol(path)
    if protocol.changed_after_freezing and protocol.frozen is not None:
        raise UsageError(
            f"{path.name} was frozen on {protocol.frozen.on} and changed since; it is not frozen again, as that would "
            "hide the change. Reports print 'changed after freezing'. To begin anew, take out the section [frozen]."
        )
    if protocol.frozen is not None:
        return protocol
    text = path.read_bytes().decode("utf-8")
    end = "\r\n" if "\r\n" in text else "\n"
    day = (on or date.today()).isoformat()
    gap = "" if text.endswith("\n") else end
    text += end.join((f"{gap}", "[frozen]", f'on = "{day}"', f'sha256 = "{protocol.sha256}"', ""))
    sealed = parse_protocol(text.removeprefix("\ufeff"), path.name)
    if sealed.changed_after_freezing or sealed.sha256 != protocol.sha256:
        raise UsageError(f"{path.name} cannot be frozen: text added at its end would change its meaning")
    write_whole(path, text)
    return sealed
