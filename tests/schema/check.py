"""Reads {"schema": ..., "documents": [...]} and prints, for each document, the list of its faults against the schema (draft 2020-12)."""
import json
import sys

from jsonschema import Draft202012Validator

given = json.load(sys.stdin)
Draft202012Validator.check_schema(given["schema"])
validator = Draft202012Validator(given["schema"])
json.dump([[f"{error.json_path}: {error.message}" for error in validator.iter_errors(document)] for document in given["documents"]], sys.stdout)
