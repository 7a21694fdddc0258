"""Pest systems from TOML files: those that come with spreadmap, and a project's own."""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from spreadmap.errors import SettingsError
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.guard import check_local_file
from spreadmap.io.pest_system_blocks import SystemBlock
from spreadmap.io.project_file import suggestion
from spreadmap.io.toml_text import parse_toml
from spreadmap.values.pest_system import PestSystem

OWN_FOLDER = "pest_systems"


def parse_pest_system(key: str, file: str, text: str) -> PestSystem:
    """Return the pest system that a TOML text describes.

    Raises
    ------
    SettingsError
        If the text is no TOML, or a key is unknown, missing or out of range: file, key, value, remedy; all at once.
    """
    try:
        return SystemBlock.model_validate(parse_toml(text)).value(key)
    except ValidationError as error:
        book = FaultBook()
        for detail in error.errors(include_url=False):
            _note(book, file, detail)
    except ValueError as error:
        book = FaultBook()
        book.stop(file, f"this is not TOML ({error})", "Correct that line.", error=SettingsError)
    book.raise_if_stopped()
    msg = f"{file}: cannot be used."  # pragma: no cover - a refused file has at least one fault
    raise SettingsError(msg)


def _note(book: FaultBook, file: str, detail: Any) -> None:
    """Write down one detail of pydantic's in our words; items of a list are counted from 1."""
    loc = [str(part + 1) if isinstance(part, int) else str(part) for part in detail["loc"]]
    found, allowed, remedy = shown(detail["input"]), "", "Correct or remove the key."
    if detail["type"] == "own":
        told = detail["ctx"]
        loc.append(told["key"])
        found, allowed, remedy = shown(told["found"], 120), told["allowed"], told["remedy"]
    elif detail["type"] == "extra_forbidden":
        known = list(_model_at(detail["loc"][:-1]).model_fields)
        allowed, remedy = ", ".join(known), f"{suggestion(loc[-1], known)}{remedy}"
    elif detail["type"] == "missing":
        found, remedy = "missing", "Add the key."
    else:
        allowed = detail["msg"].removeprefix("Value error, ").removeprefix("Input should be ")
    book.stop(file, f"key '{'.'.join(loc)}', {found}", remedy, allowed=allowed, error=SettingsError)


def _model_at(loc: tuple[str | int, ...]) -> type[BaseModel]:
    """Return the block that stands at a place of the file."""
    model: type[BaseModel] = SystemBlock
    for part in loc:
        if isinstance(part, str):
            model = next(_models_in(model.model_fields[part].annotation))
    return model


def _models_in(annotation: Any) -> Any:
    """Yield the blocks inside an annotation such as list[Block] or Block | None."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in get_args(annotation):
        yield from _models_in(inner)


def read_pest_systems(project_folder: Path | None = None) -> tuple[PestSystem, ...]:
    """Return all pest systems, sorted by key; a file of the project's own replaces one of the same name.

    Raises
    ------
    SettingsError
        If a file cannot be used; the faults of all files together.
    """
    texts = {
        entry.name.removesuffix(".toml"): (entry.name, entry.read_text(encoding="utf-8"))
        for entry in resources.files("spreadmap.pest_systems").iterdir()
        if entry.name.endswith(".toml")
    }
    book = FaultBook()
    own = project_folder / OWN_FOLDER if project_folder is not None else None
    if project_folder is not None and own is not None and own.is_dir():
        for path in sorted(own.glob("*.toml")):
            name = f"{OWN_FOLDER}/{path.name}"
            try:
                texts[path.stem] = (name, check_local_file(name, project_folder).read_text(encoding="utf-8"))
            except UnicodeDecodeError as error:
                book.stop(name, f"this is not UTF-8 text (byte {error.start})", "Save it as UTF-8.",
                          error=SettingsError)  # fmt: skip
    systems = []
    for key in sorted(texts):
        with book.reading(texts[key][0]):
            systems.append(parse_pest_system(key, *texts[key]))
    book.raise_if_stopped()
    return tuple(systems)
