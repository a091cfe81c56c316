"""Help that shows whole descriptions, wrapped at words whatever the width."""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Sequence
from typing import Any

import typer
import typer.core

from sweeprig.cli.console import StoppedError, laid_out
from sweeprig.cli.help_texts import EXAMPLES, HOW, OTHER, OUTPUT, TESTED, group_of, heading_of
from sweeprig.lines import folded

FIRST = 30  # columns that the names at the left may take
KINDS = {
    "str": "text",
    "list[str]": "text",
    "list[Path]": "path",
    "float": "number",
    "int": "number",
    "float range": "number",
    "int range": "number",
}
SAID = {  # words for a wrong value, of typer and of what checks values for it
    "Value error, ": "",
    "Input should be greater than or equal to": "it must be at least",
    "Input should be less than or equal to": "it must be at most",
    "Input should be a valid integer, unable to parse string as an integer": "it must be a whole number",
    "Input should be a valid number, unable to parse string as a number": "it must be a number",
    " is not a valid integer": ": it must be a whole number",
    " is not a valid int range": ": it must be a whole number",
    " is not a valid float range": ": it must be a number",
    " is not a valid float": ": it must be a number",
}
_NUMBER = r"(-?(?:inf|\d+(?:\.\d+)?(?:e[+-]?\d+)?))"
OUTSIDE = re.compile(rf"{_NUMBER} is not in the range {_NUMBER}?[<=]*x(?:[<>=]+{_NUMBER})?")
BOTH, LEAST = re.compile(r"([\d.]+)<=x<=([\d.]+)"), re.compile(r"x>=([\d.]+)")


_Context: Any = typer.Context.__mro__[1]  # click's, which typer brings along or imports
_Refused: Any = typer.BadParameter.__mro__[2]  # the root of its errors
_Formatter: Any = _Context.formatter_class


class WholeWords(_Formatter):  # type: ignore[misc]  # known at run time only
    """Breaks lines between words only."""

    def write_usage(self, prog: str, args: str = "", prefix: str | None = None) -> None:
        """Write the line that says how a command is typed."""
        head = f"{prefix or 'Usage: '}{prog}"
        for line in folded(f"{head} {args}", self.width, " " * self.current_indent, "  "):
            self.write(f"{line}\n")

    def write_text(self, text: str) -> None:
        """Write paragraphs."""
        indent = " " * self.current_indent
        for number, paragraph in enumerate(text.split("\n\n")):
            if number:
                self.write("\n")
            for line in folded(" ".join(paragraph.split()), self.width, indent, indent):
                self.write(f"{line}\n")

    def write_dl(self, rows: Sequence[tuple[str, str]], col_max: int = FIRST, col_spacing: int = 2) -> None:
        """Write names with what they mean beside them; below them where a name is too long."""
        most = min(col_max, self.width // 2)
        wide = min(max((len(name) for name, _ in rows), default=0), most) + col_spacing
        indent = " " * self.current_indent
        for name, text in rows:
            lines = folded(text, max(20, self.width - self.current_indent - wide)) or [""]
            if len(name) > wide - col_spacing:
                for line in folded(name, self.width, indent, f"{indent}    "):
                    self.write(f"{line}\n")
            else:
                self.write(f"{indent}{name:<{wide}}{lines.pop(0)}".rstrip() + "\n")
            for line in lines:
                self.write(f"{indent}{'':<{wide}}{line}".rstrip() + "\n")


def plain_kinds(names: str) -> str:
    """Return an option's names with what it takes in plain words: `<number>` where typer has `<float range>`."""
    for theirs, ours in KINDS.items():
        names = names.replace(f"<{theirs}>", f"<{ours}>")
    return names


def plain_range(text: str) -> str:
    """Return an option's meaning with the range of its values in words, where typer has `2<=x<=64`."""
    text = BOTH.sub(lambda m: f"{float(m[1]):.7g} to {float(m[2]):.7g}", text)
    return LEAST.sub(lambda m: f"at least {float(m[1]):.7g}", text)


def write_options(command: Any, ctx: Any, formatter: Any) -> None:
    """Write the options in groups, arguments with what is tested; then what a group of commands has."""
    groups: dict[str, list[tuple[str, str]]] = {name: [] for name in (TESTED, HOW, OUTPUT, OTHER)}
    for param in command.get_params(ctx):
        row = param.get_help_record(ctx)
        if row is not None:
            is_option = param.param_type_name == "option"
            group = group_of(max(param.opts, key=len).lstrip("-")) if is_option else TESTED
            groups[group].append((plain_kinds(row[0]), plain_range(row[1])))
    for name, rows in groups.items():
        if rows:
            with formatter.section(heading_of(name, path_of(ctx))):
                formatter.write_dl(rows)
    if hasattr(command, "format_commands"):
        command.format_commands(ctx, formatter)


def write_examples(path: str, formatter: Any) -> None:
    """Write the worked examples of a command."""
    if path in EXAMPLES:
        with formatter.section("Examples"):
            indent = " " * formatter.current_indent
            for example in EXAMPLES[path]:
                for line in folded(example, formatter.width, indent, f"{indent}    "):
                    formatter.write(f"{line}\n")


def path_of(ctx: Any) -> str:
    """Return the words that name a command below the program."""
    return f"{path_of(ctx.parent)} {ctx.info_name}".strip() if ctx.parent is not None else ""


def refuse_no_number(ctx: Any, params: Sequence[Any]) -> None:
    """Raise BadParameter for NaN and infinity where a range is asked for, which does not keep NaN out."""
    for param in params:
        if not hasattr(param.type, "min"):  # without a range the command itself says what it takes
            continue
        value = ctx.params.get(param.name)
        values = value if isinstance(value, tuple | list) else (value,)
        if any(isinstance(v, float) and not math.isfinite(v) for v in values):
            raise typer.BadParameter("it must be a number.", ctx=ctx, param=param)


class WholeCommand(typer.core.TyperCommand):
    """A command whose help groups its options and ends with examples; it takes neither NaN nor infinity."""

    def parse_args(self, ctx: Any, args: list[str]) -> Any:
        """Read the command line. Raises BadParameter for a value that is not a number."""
        rest = super().parse_args(ctx, args)
        refuse_no_number(ctx, self.params)
        return rest

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write options by group."""
        write_options(self, ctx, formatter)

    def format_epilog(self, ctx: Any, formatter: Any) -> None:
        """Write the examples."""
        write_examples(path_of(ctx), formatter)


def _outside(found: re.Match[str]) -> str:
    """Return what a number outside its range must be, in words."""
    value, low, high = (None if text is None else float(text) for text in found.groups())
    if ">=" in found[0]:
        low, high = high, None
    if value is not None and low is not None and value < low:
        return f"it must be at least {low:.7g}"
    return f"it must be at most {high:.7g}" if high is not None else found[0]


def _offer_no_hidden(error: Any) -> None:
    """Take the options that the help does not list out of those that an error proposes."""
    if getattr(error, "possibilities", None) and error.ctx is not None:
        hidden = {name for p in error.ctx.command.params if getattr(p, "hidden", False) for name in p.opts}
        error.possibilities = [name for name in error.possibilities if name not in hidden]


def fit_words(error: Any) -> Any:
    """Return an error of typer's in plain words, whose text breaks at words on the terminal."""
    _offer_no_hidden(error)
    label, said = "Error: ", error.format_message()
    for theirs, ours in SAID.items():
        said = said.replace(theirs, ours)
    lines = f"{label}{OUTSIDE.sub(_outside, said)}".split("\n")
    text = "\n".join(laid_out(line, sys.stderr) for line in lines).removeprefix(label)
    error.format_message = lambda: text
    return error


class WholeGroup(typer.core.TyperGroup):
    """A group whose help has the whole description of each command."""

    def invoke(self, ctx: Any) -> Any:
        """Run the command; let Ctrl-C out as an exception of ours, where typer would end without a word."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt as stop:
            raise StoppedError(*stop.args) from None
        except _Refused as error:
            raise fit_words(error) from None

    def make_context(self, *args: Any, **more: Any) -> Any:
        """Read the options before the command; errors in them break at words too."""
        try:
            return super().make_context(*args, **more)
        except _Refused as error:
            raise fit_words(error) from None

    def parse_args(self, ctx: Any, args: list[str]) -> Any:
        """Read the options of a group that is a command too. Raises BadParameter for a value that is not a number."""
        rest = super().parse_args(ctx, args)
        refuse_no_number(ctx, self.params)
        return rest

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """Return the command, its help in this program's way."""
        command = super().get_command(ctx, cmd_name)
        if type(command) is typer.core.TyperCommand:
            command.__class__ = WholeCommand
        return command

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write options by group, then the commands."""
        write_options(self, ctx, formatter)

    def format_epilog(self, ctx: Any, formatter: Any) -> None:
        """Write the examples."""
        write_examples(path_of(ctx), formatter)

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write the commands, each with its first paragraph."""
        named = [(name, self.get_command(ctx, name)) for name in self.list_commands(ctx)]
        rows = [
            (name, " ".join((c.help or "").split("\n\n")[0].split()))
            for name, c in named
            if c and not c.hidden
        ]
        if rows:
            with formatter.section("Commands"):
                formatter.write_dl(rows)


_Context.formatter_class = WholeWords  # of every command; click offers no other way to set it for all
