"""The page of the rules, from their registry: every rule with its reason, its cure, and an example of both."""

from __future__ import annotations

from collections.abc import Iterable

from tracer.trace.rules.registry import Rule

_HEAD = """# The rules of `tracer check`

`tracer check --rules` prints the short form.

A **loose end** (L) is something drawn or declared whose other end is not known: a list it concerns says NOT COMPLETE. A **remark** (R) is worth a look, but
nothing is missing because of it. A code is never used again for something else.

In the examples the codes behind `#` mark the lines on which rules speak; `---` begins a further sheet, and a first part that begins with
`rails:` or `colours:` belongs to `vehicle.yaml`. Everything in them is invented.
"""


def rules_page(rules: Iterable[Rule]) -> str:
    """The page as Markdown: a table of all rules, then one section each, in the order of the codes."""
    rules = sorted(rules, key=lambda rule: rule.code)
    lines = [_HEAD, "| code | grade | title |", "|---|---|---|"]
    lines += [f"| [{rule.code}](#{rule.code.lower()}) | {rule.grade} | {rule.title} |" for rule in rules]
    return "\n".join(lines) + "\n" + "".join(_section(rule) for rule in rules)


def _section(rule: Rule) -> str:
    text = f"\n## {rule.code}\n\n**{rule.title}** ({rule.grade})\n\n{rule.why}\n\nWhat to do: {rule.fix}\n"
    if rule.bad:
        text += f"\nSpeaks:\n\n```yaml\n{rule.bad.rstrip()}\n```\n"
    if rule.good:
        text += f"\nSilent:\n\n```yaml\n{rule.good.rstrip()}\n```\n"
    return text
