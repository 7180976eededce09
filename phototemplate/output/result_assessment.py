"""``Judgements`` in the form of ``result.json`` (format: :mod:`phototemplate.output.schema`)."""

from __future__ import annotations

from phototemplate.output import schema_assessment as s
from phototemplate.output.assessment import EdgeBudget, Judged, Judgements, finite_or_none
from phototemplate.wording import say


def judgements_part(judgements: Judgements) -> s.JudgementsPart:
    """All verdicts, budgets, reliability and intervals."""
    return s.JudgementsPart(
        tolerance_mm=judgements.tolerance_mm,
        rule=judgements.rule,
        edges=[_judged(j) for j in judgements.edges.values()],
        sizes=[_judged(j) for j in judgements.sizes],
        budgets=[_budget(b) for b in judgements.budgets.values()],
        reliability=[
            s.ReliabilityPart(
                name=n.name,
                kind=n.kind,
                detectable_mm=finite_or_none(n.detectable_mm),
                effect_mm=finite_or_none(n.effect_mm),
                effect_on=n.effect_on,
                sentence=n.sentence,
            )
            for n in judgements.noticed
        ],
        intervals=[
            s.IntervalPart(
                edge=c.edge_id,
                loop=c.loop_id,
                length_mm=c.value_mm,
                length_U_mm=c.U_mm,
                symmetric_mm=[c.low_mm, c.high_mm],
                shortest_mm=list(c.shortest_mm),
                agrees=c.agrees,
            )
            for c in judgements.intervals
        ],
        assumed=list(judgements.assumed),
    )


def _judged(j: Judged) -> s.JudgedPart:
    return s.JudgedPart(
        name=j.name,
        where=j.where,
        verdict=j.verdict,
        value_mm=finite_or_none(j.value_mm),
        deviation_mm=j.deviation_mm,
        U_mm=j.U_mm,
        probability=j.probability,
        remedies=[
            s.RemedyPart(code=r.what.code, text=say(r.what).message, predicted_U_mm=r.predicted_U_mm) for r in j.remedies
        ],
    )


def _budget(b: EdgeBudget) -> s.BudgetPart:
    return s.BudgetPart(
        edge=b.edge_id,
        where=b.where,
        u_mm=b.u_mm,
        u_type_a_mm=b.u_a_mm,
        u_type_b_mm=b.u_b_mm,
        degrees_of_freedom=finite_or_none(b.dof),
        k_95=b.k95,
        contributions=[
            s.ContributionPart(cause=p.cause, type=p.evaluation, u_mm=p.u_mm, degrees_of_freedom=finite_or_none(p.dof))
            for p in b.parts
        ],
        sensitivities=[
            s.SensitivityPart(
                input=c.input, u_input_mm=c.u_mm, coefficient=c.coefficient, contribution_mm=c.contribution_mm
            )
            for c in b.sensitivities
        ],
    )
