"""The library that draws a page's 3D view in the browser: three.js, out of an installed package.

Nothing of it is kept here, and a page fetches nothing: the script is read from the package
`jupyter-threejs-sage`, which ships builds of three.js and nothing else, at the moment a page is
written. Where it is not there, or is not what it was, the page comes without a 3D view and says so.
"""

import re
from dataclasses import dataclass
from importlib.resources import files

from markupsafe import Markup

PACKAGE = "jupyter-threejs-sage"
_MODULE = "jupyter_threejs_sage"
_FILE = "static/r130/three.min.js"  # the package keeps old builds beside new ones
_NAME = "three.js r130"
_EXPORTED = re.compile(r"\b\w+\.([A-Z]\w*)=")  # as a bundler writes it: t.Scene=Xy
_USED = re.compile(r"\bTHREE\.([A-Z]\w*)")
_LICENCE = re.compile(r"/\*[*!](?P<words>.*?)\*/", re.DOTALL)
_ENDS_SCRIPT = re.compile(r"</script|<!--", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class ViewLibrary:
    """What stands in the page.

    Attributes:
        name: Of the library, with its version.
        text: The script; empty if there is none.
        licence: Who holds the rights, and the licence, in a line.
        missing: Why there is none, in a sentence for the reader; empty if there is one.
    """

    name: str
    text: Markup
    licence: str
    missing: str


def view_library(user: str) -> ViewLibrary:
    """The library, if what is installed has all that is used of it.

    Args:
        user: The script that uses it.
    """
    try:
        text = files(_MODULE).joinpath(_FILE).read_text(encoding="utf-8")
    except (ModuleNotFoundError, OSError, UnicodeDecodeError):
        return _without(f"the Python package {PACKAGE}, which brings {_NAME}, is not installed")
    lacking = sorted(used_by(user) - set(_EXPORTED.findall(text)))
    if lacking:
        return _without(f"the {_NAME} that is installed has no {', '.join(lacking)}")
    licence = _LICENCE.match(text.lstrip())
    if licence is None or _ENDS_SCRIPT.search(text):
        return _without(f"the {_NAME} that is installed cannot stand in a page")
    # Safe: a program of the library alone, without anything that a user wrote.
    return ViewLibrary(_NAME, Markup(text), _in_a_line(licence["words"]), "")


def used_by(user: str) -> set[str]:
    """The names of the library that a script uses."""
    return set(_USED.findall(user))


def _without(why: str) -> ViewLibrary:
    missing = f"No 3D view: on the machine that wrote this page, {why}."
    return ViewLibrary(_NAME, Markup(), "", missing)


def _in_a_line(comment: str) -> str:
    """Copyright and licence as a comment on top of a script tells them."""
    words = re.sub(r"@license|SPDX-License-Identifier:", " ", comment.replace("*", " "))
    copyright_, _, licence = " ".join(words.split()).rpartition(" ")
    return f"{copyright_}, licence: {licence}."
