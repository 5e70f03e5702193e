"""The command that prints the map file's JSON Schema: `schema`."""

import typer


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(schema)


def schema() -> None:
    """Print the JSON Schema of the map file."""
    import json

    from hidescan.hide_map.json_io import json_schema

    print(json.dumps(json_schema(), indent=1))
