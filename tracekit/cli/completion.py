"""`tracekit completion SHELL`: a script that completes commands and options on the Tab key."""

import importlib
import json
from collections.abc import Mapping
from typing import Annotated, Any

import typer

from tracekit.errors import UsageError, message, nearest

_BASH = """\
# tracekit completion for bash: source <(tracekit completion bash)
_tracekit() {{
  local word="${{COMP_WORDS[COMP_CWORD]}}" command="${{COMP_WORDS[1]}}" options=""
  if [ "$COMP_CWORD" -eq 1 ]; then
    COMPREPLY=($(compgen -W "{commands}" -- "$word") $(compgen -f -- "$word"))
    return
  fi
  case "$command" in
{cases}
  esac
  case "$word" in
    -*) COMPREPLY=($(compgen -W "$options" -- "$word")) ;;
    *) COMPREPLY=($(compgen -f -- "$word")) ;;
  esac
}}
complete -o filenames -F _tracekit tracekit
"""
_ZSH = "# tracekit completion for zsh: source <(tracekit completion zsh)\nautoload -U +X bashcompinit && bashcompinit\n"
_FISH = "# tracekit completion for fish: tracekit completion fish | source\n"
_POWERSHELL = """\
# tracekit completion for PowerShell: tracekit completion powershell | Out-String | Invoke-Expression
Register-ArgumentCompleter -Native -CommandName tracekit -ScriptBlock {{
  param($word, $ast, $at)
  $options = @{{
{table}
  }}
  $parts = @($ast.CommandElements | ForEach-Object {{ $_.ToString() }})
  if ($parts.Count -le 1 -or ($parts.Count -eq 2 -and $word)) {{ $list = $options.Keys }}
  else {{ $list = $options[$parts[1]] }}
  $list | Where-Object {{ $_ -like "$word*" }} | Sort-Object |
    ForEach-Object {{ [System.Management.Automation.CompletionResult]::new($_) }}
}}
"""
SHELLS = ("bash", "zsh", "fish", "powershell")


def completion(
    shell: Annotated[str, typer.Argument(metavar="bash|zsh|fish|powershell", show_default=False)],
    as_json: Annotated[bool, typer.Option("--json", help="Print the options of every command as JSON.")] = False,
) -> None:
    """Print a script for a shell that completes commands, options and file names."""
    if shell not in SHELLS:
        raise UsageError(message("completion", f'"{shell}"', "a shell", nearest(shell, SHELLS)))
    options = _options()
    print(json.dumps(options, indent=1) + "\n" if as_json else script(shell, options), end="")


def script(shell: str, options: Mapping[str, tuple[str, ...]]) -> str:
    """The script of a shell for commands and their options."""
    if shell == "fish":
        return _FISH + "".join(_fish(command, names) for command, names in options.items())
    if shell == "powershell":
        quoted = {c: ", ".join(f"'{n}'" for n in names) for c, names in options.items()}
        return _POWERSHELL.format(table="\n".join(f"    '{c}' = @({names})" for c, names in quoted.items()))
    cases = "\n".join(f'    {command}) options="{" ".join(names)}" ;;' for command, names in options.items())
    return (_ZSH if shell == "zsh" else "") + _BASH.format(commands=" ".join(options), cases=cases)


def _fish(command: str, names: tuple[str, ...]) -> str:
    first = f"complete -c tracekit -n __fish_use_subcommand -a {command}\n"
    own = f"-n '__fish_seen_subcommand_from {command}'"
    return first + "".join(f"complete -c tracekit {own} -l {name.removeprefix('--')}\n" for name in names)


def _options() -> dict[str, tuple[str, ...]]:
    """Every command with its long options."""
    front: Any = importlib.import_module("tracekit.cli")
    found: dict[str, tuple[str, ...]] = {}
    for name, _ in front.COMMANDS:
        app = typer.Typer(add_completion=False)
        app.command(name)(getattr(importlib.import_module(f"tracekit.cli.{name}"), name))
        parameters = typer.main.get_command(app).params
        names = {opt for p in parameters for opt in p.opts if opt.startswith("--")} - {"--help"}
        found[name] = (*sorted(names), "--help")
    return found
