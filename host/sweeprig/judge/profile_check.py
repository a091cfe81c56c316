"""Find every mistake of a profile, each with its line and key."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from typing import Any

from sweeprig.judge.profile_lines import Problem as Problem
from sweeprig.judge.profile_lines import key_lines, line_of
from sweeprig.judge.profile_rules import (
    NUMBER_KEYS,
    NUMBER_TABLES,
    OPTIONAL_TABLES,
    WORD_TABLES,
    NumberRule,
    WordRule,
)
from sweeprig.judge.profile_together import check_together
from sweeprig.link.clean import MOST_INTEGER, is_number, is_whole

KINDS = {int: "a whole number", float: "a number", str: "text in quotes", bool: "true or false"}


def check_text(text: str) -> tuple[dict[str, Any], tuple[Problem, ...]]:
    """Return what the text holds and its mistakes, in order of lines."""
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as exc:  # not TOML, nested too deep, a number of thousands of digits
        where = re.search(r"at line (\d+)", str(exc))
        last = max(1, len(text.splitlines()))
        return {}, (Problem(int(where[1]) if where else last, "", "is not TOML", seen=f"{exc!s:.300}"),)
    lines = key_lines(text)
    found = [p for table in _tables() for p in _check_table(data, table, lines)]
    found += _strangers(data, "", {t for t in _tables() if t} | set(WORD_TABLES[""]), lines)
    if not found:
        found += check_together(data, lines)
    return data, tuple(sorted(found, key=lambda p: p.line))


def _tables() -> list[str]:
    return list(dict.fromkeys([*WORD_TABLES, *NUMBER_TABLES]))


def _check_table(data: Mapping[str, Any], table: str, lines: dict[str, int]) -> Iterable[Problem]:
    part = data if not table else data.get(table)
    if part is None:
        if table in OPTIONAL_TABLES:
            return []
        return [Problem(1, table, "is missing", limit=f"a table [{table}]")]
    if not isinstance(part, dict):
        return [Problem(line_of(lines, table), table, "is not a table", seen=_shown(part))]
    words, numbers = WORD_TABLES.get(table, {}), NUMBER_TABLES.get(table, {})
    found = [p for key, rule in words.items() for p in _check_word(part, table, key, rule, lines)]
    found += [p for key, rule in numbers.items() for p in _check_number(part, table, key, rule, lines)]
    if table:
        found += _strangers(part, table, {*words, *numbers}, lines)
    return found


def _strangers(part: Mapping[str, Any], table: str, known: set[str], lines: dict[str, int]) -> list[Problem]:
    found = []
    for key in part:
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1)
            hint = f"{near[0]}, perhaps" if near else ", ".join(sorted(known))
            full = f"{table}.{key}".lstrip(".")
            found.append(Problem(line_of(lines, full), full, "is not known", seen=key[:80], limit=hint))
    return found


def _check_word(
    part: Mapping[str, Any], table: str, key: str, rule: WordRule, lines: dict[str, int]
) -> list[Problem]:
    full = f"{table}.{key}".lstrip(".")
    if key not in part:
        return _missing(full, rule, line_of(lines, table))
    value, line = part[key], line_of(lines, full)
    if not _is_kind(value, rule.kind):
        return [
            Problem(line, full, "has a value of the wrong type", seen=_shown(value), limit=KINDS[rule.kind])
        ]
    if rule.words and value not in rule.words:
        return [Problem(line, full, "is not one of its words", seen=value[:80], limit=", ".join(rule.words))]
    if rule.kind is str and rule.required and not value.strip():
        return [Problem(line, full, "is empty", limit=rule.about)]
    if rule.kind in (int, float) and not rule.least <= value <= rule.most:
        bounds = f"{rule.least:g} to {rule.most:g}"
        return [Problem(line, full, "is out of range", seen=f"{value:g}", limit=bounds)]
    return []


def _missing(full: str, rule: WordRule | NumberRule, line: int) -> list[Problem]:
    return [Problem(line, full, "is missing", limit=rule.about)] if rule.required else []


def _shown(value: Any) -> str:
    """Return a value as a message can show it, whatever its size."""
    try:
        return f"{value!r:.80}"
    except (ValueError, RecursionError):  # a number of thousands of digits
        return "a value too long to show"


def _is_kind(value: Any, kind: type) -> bool:
    if kind is float:
        return is_number(value)
    if kind is int:
        return is_whole(value, -MOST_INTEGER, MOST_INTEGER)
    return isinstance(value, kind) and (kind is bool or not isinstance(value, bool))


def _check_number(
    part: Mapping[str, Any], table: str, key: str, rule: NumberRule, lines: dict[str, int]
) -> list[Problem]:
    full = f"{table}.{key}"
    if key not in part:
        return _missing(full, rule, line_of(lines, table))
    entry = part[key]
    names = NUMBER_KEYS[rule.shape]
    if not isinstance(entry, dict):
        wanted = f"a table [{full}] with {', '.join(names)}"
        return [Problem(line_of(lines, full), full, "is not a table", seen=_shown(entry), limit=wanted)]
    number = WordRule(float, rule.about, least=rule.least, most=rule.most, required=True)
    rules = dict.fromkeys(names[:-3], number)
    rules["unit"] = WordRule(str, rule.unit, (rule.unit,), required=True)
    rules["source"] = WordRule(str, "where this comes from", required=True)
    rules["note"] = WordRule(str, "anything else worth knowing")
    found = [p for n, r in rules.items() for p in _check_word(entry, full, n, r, lines)]
    found += _strangers(entry, full, set(names), lines)
    if not found and rule.whole and entry["value"] != int(entry["value"]):
        at = line_of(lines, f"{full}.value")
        found.append(Problem(at, full, "is not a whole number", f"{entry['value']:g}", "a whole number"))
    if not found and rule.shape == "range" and not entry["low"] < entry["high"]:
        seen = f"low {entry['low']:g}, high {entry['high']:g}"
        found.append(Problem(line_of(lines, f"{full}.low"), full, "is upside down", seen, "low below high"))
    return found
