"""Pages for people: one base, Jinja templates beside the study that fills them, pictures inside the file."""

import base64
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from experiments.request.comparison import Request
from experiments.run.files import whole
from experiments.run.folder import RunFolder
from experiments.run.provenance import provenance

TYPES = {".svg": "image/svg+xml", ".png": "image/png", ".gif": "image/gif"}


def environment(folder: Path, undefined: type = StrictUndefined) -> Environment:
    """Templates of a study's folder, and the base page; what a template writes is escaped."""
    return Environment(
        loader=FileSystemLoader([folder, Path(__file__).parent]), autoescape=True, undefined=undefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip


def write_page(template: Path, out: Path, **content: Any) -> None:
    """Fill a template and write the page, whole or not at all."""
    text = environment(template.parent).get_template(template.name).render(**content)
    write_text(out, text.rstrip("\n") + "\n")


def write_text(path: Path, text: str) -> None:
    """A text file, whole or not at all."""
    with whole(path) as temporary:
        temporary.write_text(text, encoding="utf-8")


def about(folder: RunFolder) -> dict[str, str]:
    """What a page says of its run: id, date, versions and the command that made it."""
    known, day = provenance(), folder.path.name[:8]
    return {
        "id": folder.path.name, "date": f"{day[:4]}-{day[4:6]}-{day[6:]}",
        "version": f"arcstride {known['arcstride_version']}", "physics": known["physics_digest"],
        "revision": known["code_revision"], "command": folder.command,
    }  # fmt: skip


def skaters_text(request: Request) -> str:
    """The skaters of a request by name and mass."""
    each = [f"{s.skater.name}, {s.skater.mass_kg:g} kg" for s in request.settings]
    return f"Skater{'s' * (len(each) > 1)}: {'; '.join(each)}."


def picture(path: Path, words: str) -> Markup:
    """A picture inside the page itself; words for who cannot see it. Empty where there is no such file."""
    if not path.is_file():
        return Markup()
    data = base64.b64encode(path.read_bytes()).decode()
    return Markup(f'<img src="data:{TYPES[path.suffix]};base64,{data}" alt="{escape(words)}">')
