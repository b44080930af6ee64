"""The steps of a schedule's text, as the page's table shows them: the words of each value as they are in the text."""

from ..settings.document import Node, SettingsError, parse_document

#: What the table can change; a step with any other key keeps it as it is.
KEYS = ("name", "to", "at", "in", "hold", "within", "let cool")


def step_table(source: str) -> list[dict[str, str]] | None:
    """One {key: text} for each step, in order; None where the text has no list of plain steps."""
    try:
        root = parse_document(source, "")
    except SettingsError:
        return None
    steps = _value(root, "steps")
    if steps is None or steps.kind != "list":
        return None
    rows = [_row(item) for item in steps.items]
    return None if any(row is None for row in rows) else [row for row in rows if row is not None]


def _value(node: Node, key: str) -> Node | None:
    return next((value for k, value in node.pairs if k.text == key), None) if node.kind == "map" else None


def _row(node: Node) -> dict[str, str] | None:
    if node.kind != "map" or any(value.kind != "scalar" for _, value in node.pairs):
        return None
    return {key.text: value.text for key, value in node.pairs}
