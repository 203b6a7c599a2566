"""What to type on this very board where an optional part is missing."""
import os
import shlex
import sys
import sysconfig
from importlib.metadata import PackageNotFoundError, requires
from importlib.util import find_spec


def install_command(extra: str) -> str:
    """The command that adds what an extra needs to the Python that runs ampledger here.

    It names the parts themselves, for ampledger may have come as a package or a checkout, which pip does not know.
    """
    try:
        lines = [line for line in requires("ampledger") or () if f'extra == "{extra}"' in line.replace("'", '"')]
    except PackageNotFoundError:
        lines = []
    parts = " ".join(shlex.quote(line.partition(";")[0].strip()) for line in lines) or f"'ampledger[{extra}]'"
    root = "" if os.access(sysconfig.get_path("purelib"), os.W_OK) else "sudo "
    if find_spec("pip") is not None:
        return f"{root}{sys.executable} -m pip install {parts}"
    return f"{root}apt install python3-pip && {root}python3 -m pip --python {sys.executable} install {parts}"
