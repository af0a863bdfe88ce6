"""Everything that is checked once entries are built: a plain list of functions, each yielding mistakes."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from diagnose.problems import Problem
from diagnose.reading.checks import cycles, facts, figures, ladders, references, sheets, use
from diagnose.reading.draft import Draft

Check = Callable[[Draft], Iterable[Problem]]

CHECKS: tuple[Check, ...] = (
    references.sources,
    references.gates,
    references.standing,
    references.options,
    references.mechanisms,
    references.links,
    references.all_of,
    references.cylinders,
    references.drivers,
    references.access,
    references.cautions,
    references.causes,
    references.conditions,
    references.tests,
    references.rules_of_cautions,
    references.activities,
    references.tags,
    figures.sums,
    figures.healthy_levels,
    figures.certainties,
    figures.leaks,
    figures.level_names,
    figures.symptom_minutes,
    figures.cannots,
    figures.units,
    figures.limits,
    ladders.defaults,
    ladders.rungs,
    sheets.references,
    sheets.kinds,
    sheets.figures,
    sheets.readings,
    facts.options_of_a_fact,
    facts.parked,
    facts.assumed,
    facts.covering,
    facts.shares,
    facts.standing,
    facts.implications,
    facts.gates_that_open,
    cycles.conditions,
    cycles.access,
    cycles.facts,
    use.causes_have_a_repair,
    use.causes_lead_somewhere,
    use.causes_can_be_tested,
    use.conditions_have_an_origin,
    use.mechanisms_have_causes,
    use.repairs_cure,
    use.behaviours_end,
    use.complaints_aim,
    use.complaints_are_proved,
    use.rules_are_whole,
    use.published_sources,
)
"""All checks; the order does not matter, as mistakes are shown by place."""
