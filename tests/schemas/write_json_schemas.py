"""Write the JSON Schemas anew after a change of the models: python -m tests.schemas.write_json_schemas."""

from pathlib import Path

from schemas.json_schemas import schema_files

SCHEMAS = Path(__file__).parents[2] / "schemas" / "json"


def write(folder: Path) -> None:
    for name, text in schema_files().items():
        (folder / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write(SCHEMAS)
