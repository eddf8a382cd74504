"""Which findings are pictured: none of a kind is forgotten for more of another."""

from envelope.checks.finding import Finding
from envelope.scene.choose import chosen, problems
from tests.report import synthetic as made


def finding(value, check="collision", verdict="fail", between=("carton/A/1/1", "pallet/A"), at=1.0):
    return Finding(
        check, verdict, value, 10.0, "mm", "words", between=between, segment="transfer", at=at
    )


def result(*each):
    return made.result(
        *(made.judged(turn, *findings) for turn, findings in enumerate(each, start=1))
    )


def test_the_worst_finding_of_a_placement_is_taken():
    mild, bad = finding(5.0), finding(-3.0)
    near = finding(12.0, verdict="marginal")
    found = problems(result([near, mild, bad], [finding(50.0, verdict="pass")]))
    assert [problem.finding for problem in found] == [bad]


def test_of_equals_the_earliest_instant_is_taken():
    early, late = finding(-20.0, at=0.5), finding(-20.0, at=2.0)
    assert problems(result([late, early]))[0].finding == early


def test_a_rare_kind_is_not_crowded_out():
    rare = finding(9.0, between=("link/forearm", "obstacle/fence"))
    common = [[finding(-float(k), between=(f"carton/A/1/{k}", "pallet/A"))] for k in range(1, 30)]
    picked = chosen(problems(result(*common, [rare])), most=4)
    assert rare in [problem.finding for problem in picked]
    assert [p.finding.value for p in picked if p.finding != rare] == [-27.0, -28.0, -29.0]


def test_failing_comes_before_marginal():
    marginal = finding(11.0, verdict="marginal")
    assert chosen(problems(result([marginal], [finding(9.9)])), most=1)[0].finding.value == 9.9


def test_nothing_is_pictured_where_everything_passes():
    assert problems(result([finding(90.0, verdict="pass")])) == []


def test_of_loads_over_their_limit_the_heaviest_is_taken():
    light, heavy = (Finding("load", "fail", value, 100.0, "%", "words") for value in (123.0, 210.0))
    assert problems(result([light, heavy]))[0].finding == heavy
