"""The rate as text and in the results file."""

import json
from dataclasses import replace

import pytest

from envelope.checks.finding import Finding
from envelope.checks.throughput import LayerRate, Queue, Rate
from envelope.report.rate import rate_lines, rate_verdict
from envelope.report.results import as_json
from envelope.report.text import as_text, verdict_line

from . import synthetic as made

RATE = Rate(
    sustained=9.876543,
    alone=10.5,
    asked=9.5,
    cartons=40,
    cycles=20,
    mean_cycle=5.7142857,
    rounding=0.0,
    slowest_cycle=(7.25, "A/2/8"),
    waiting=(("for cartons", 1.5), ("for an empty pallet", 30.0)),
    layers=(LayerRate("A", 1, 11.0), LayerRate("A", 2, 9.0)),
    dominating=(("joint 1 speed", 2.5), ("linear acceleration", 1.25)),
    queue=Queue(7, 3150.0, 3000.0, 8),
)
SUSTAINED = Finding("rate", "marginal", 9.876543, 9.5, "cartons/min", "over full pallets")
QUEUE = Finding("rate", "fail", 3150.0, 3000.0, "mm", "the longest on the infeed, 7 cartons")
PLACES = Finding("rate", "pass", 7.0, 8.0, "cartons", "what the longest queue needs")


def whole(*findings, rate=RATE):
    plain = made.result(made.judged(1, made.PASS), made.judged(2, made.PASS))
    return replace(plain, findings=findings, rate=rate)


def test_text_tells_verdicts_values_and_limits():
    text = "\n".join(rate_lines(whole(SUSTAINED, QUEUE, PLACES), 100))
    for told in (
        "fail: rate",
        "marginal: 9.88 cartons/min (limit 9.5)",
        "fail: 3150 mm (limit 3000)",
        "pass: 7 cartons (limit 8)",
        "A/2 at 9.00 cartons/min",
        "20, mean 5.71 s; the slowest, of A/2/8, takes 7.25 s",
        "1.50 s for cartons and 30.00 s for an empty pallet",
        "2.50 s joint 1 speed, 1.25 s linear acceleration",
    ):
        assert told in text
    assert "rounding" not in text


@pytest.mark.parametrize("width", [60, 80, 100])
def test_text_keeps_to_the_width(width):
    lines = list(rate_lines(whole(SUSTAINED, QUEUE, PLACES), width))
    assert max(map(len, lines)) <= width


def test_the_line_of_the_verdict_does_not_hide_the_rate():
    """All placements pass, and yet the cell does not."""
    result = whole(SUSTAINED, QUEUE)
    cell = made.cell_of(result)
    assert verdict_line(result, cell) == "FAIL: 2 placements pass. The rate fails."
    assert as_text(result, cell).splitlines()[-1] == verdict_line(result, cell)
    assert verdict_line(whole(SUSTAINED), cell).startswith("MARGINAL: 2 placements pass.")
    lost = Finding("rate", "not checked", None, 9.5, "cartons/min", "no motion for A/1/1")
    told = verdict_line(whole(lost, rate=None), cell)
    assert told == "NOT CHECKED: 2 placements pass. The rate could not be checked."


def test_without_a_line_nothing_is_said():
    result = whole(rate=None)
    assert list(rate_lines(result, 100)) == []
    assert rate_verdict(result) is None
    assert "rate" not in verdict_line(result, made.cell_of(result))


def test_the_results_file_holds_findings_and_rate():
    result = whole(SUSTAINED, QUEUE)
    data = json.loads(as_json(result, made.cell_of(result)))
    assert data["verdict"] == "fail"
    assert data["counts"]["pass"] == 2
    assert [found["value"] for found in data["findings"]] == [9.8765, 3150.0]
    rate = data["rate"]
    assert list(rate) == [
        "sustained",
        "alone",
        "asked",
        "cartons",
        "cycles",
        "mean_cycle",
        "rounding",
        "slowest_cycle",
        "waiting",
        "layers",
        "dominating",
        "queue",
    ]
    assert rate["sustained"] == 9.8765
    assert rate["slowest_cycle"] == {"seconds": 7.25, "placement": "A/2/8"}
    assert rate["layers"][1] == {"pallet": "A", "layer": 2, "rate": 9.0}
    assert rate["queue"] == {"cartons": 7, "length": 3150.0, "available": 3000.0, "places": 8}
    endless = replace(RATE, queue=Queue(None, None, 3000.0))
    data = json.loads(as_json(whole(SUSTAINED, rate=endless), made.cell_of(result)))
    assert data["rate"]["queue"]["length"] is None
