"""Pages from templates: whatever a user wrote comes out as text."""

import json
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import Any


@cache
def template(name: str) -> str:
    """A file of the templates folder."""
    folder = files(__name__.rpartition(".")[0]).joinpath("templates")
    return folder.joinpath(name).read_text(encoding="utf-8")


def script_safe(value: Any) -> str:
    """JSON that can stand in a script element whatever texts are in it."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for letter in "<>&\u2028\u2029":
        text = text.replace(letter, f"\\u{ord(letter):04x}")
    return text


def rendered(
    name: str, page: Mapping[str, Any], scripts: Sequence[str], trusted: Mapping[str, str]
) -> str:
    """A page.

    Args:
        name: Of its template.
        page: What it tells; every text is escaped.
        scripts: Names of the scripts in it, in their order.
        trusted: Made by this program of safe parts, and put in as it is.
    """
    from jinja2 import Environment
    from markupsafe import Markup

    environment = Environment(autoescape=True, trim_blocks=True)
    safe = {key: Markup(text) for key, text in trusted.items()}
    safe["style"] = Markup(template("page.css"))
    safe["script"] = Markup("\n".join(template(script) for script in scripts))
    return environment.from_string(template(name)).render(page={**page, **safe})
