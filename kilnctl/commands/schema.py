"""`kilnctl schema oven|schedule`: JSON Schema for editors."""

import argparse
import json

from ..settings.json_schema import schema_of


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("kind", choices=("oven", "schedule"), help="which kind of file")


def run(args: argparse.Namespace) -> int:

    print(json.dumps(schema_of(args.kind), indent=2, ensure_ascii=False))
    return 0
