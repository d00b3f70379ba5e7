"""Accounts as JSON files, whole or not at all."""
import json

import numpy as np

from .beside import beside

DOMAIN = "SPADEWORK"  # metadata of rasters and vector layers in which JSON texts are kept


def write_json(path, content):
    """Write plain content (dict, list, numbers, words) to a JSON file; NaN is written as null."""
    with beside(path) as unfinished:
        unfinished.write_text(json_text(content, indent=1) + "\n", encoding="utf-8")


def json_text(content, *, indent=None):
    """Return plain content as JSON text; NaN and infinity as null, which JSON has no word for."""
    return json.dumps(_plain(content), indent=indent, ensure_ascii=False)


def read_json(path):
    """Return what a JSON file holds."""
    with open(path, encoding="utf-8") as file:
        return json.load(file)


def _plain(content):
    if isinstance(content, dict):
        return {str(key): _plain(value) for key, value in content.items()}
    if isinstance(content, (list, tuple)):
        return [_plain(value) for value in content]
    if isinstance(content, np.generic):
        content = content.item()
    if isinstance(content, float) and not np.isfinite(content):
        return None
    return content
