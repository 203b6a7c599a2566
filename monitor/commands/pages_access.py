"""The pages opened to the vehicle's network: their address and an access code go into the configuration together."""
from pathlib import Path
from typing import Any

from monitor.commands.options import PAGES_PORT


def open_pages(path: Path, code: str | None = None, *, code_to_read: bool = False, new_code: bool = False) -> str | None:
    """Writes address and access code into a configuration, never one without the other; returns a code made now.

    path : the configuration; code : the code to set, None to make one where there is none
    code_to_read : reading needs the code too; new_code : make one also where there is one already
    """
    from monitor.commissioning import document
    from monitor.process import network
    from monitor.process.access_code import hash_code, make_code

    doc = document.read(path)
    if code is None and (new_code or not doc.get("dashboard", {}).get("code_hash")):
        code = make_code()
    document.note_result(doc, "dashboard", address=f"0.0.0.0:{port_of(doc)}")
    if code is not None:
        document.note_result(doc, "dashboard", code_hash=hash_code(code))
    if code_to_read:
        doc["dashboard"]["code_to_read"] = True
    document.write(doc, path)
    if network.is_service():
        network.open_wall()
    return code


def port_of(doc: Any) -> str:
    """The port of the pages by a configuration, or the usual one."""
    return str(doc.get("dashboard", {}).get("address", f":{PAGES_PORT}")).rpartition(":")[2]
