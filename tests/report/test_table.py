import csv
import io

from envelope.report.table import as_csv

from . import synthetic as made


def rows(*judged):
    return list(csv.DictReader(io.StringIO(as_csv(made.result(*judged)))))


def test_one_row_a_placement_with_the_deciding_finding():
    first, second = rows(
        made.judged(1, made.PASS, made.NEAR), made.judged(2, made.PASS, made.NEAR, made.CLASH)
    )
    assert first["placement"] == "A/1/1"
    assert (first["x [mm]"], first["y [mm]"], first["yaw [deg]"]) == ("200", "-100", "90")
    assert (first["verdict"], first["deciding check"]) == ("marginal", "collision")
    assert (second["verdict"], second["value"], second["upper"]) == ("fail", "3.214", "3.286")
    assert second["second body"] == "carton/A/1/1"
    assert second["message"] == made.CLASH.message
    assert (second["cycle"], second["cycle [s]"]) == ("2", "2")


def test_each_check_has_its_worst_finding():
    passing = made.CLASH._replace(verdict="pass", value=60.0, upper=60.4)
    (row,) = rows(made.judged(1, made.PASS, passing, made.CLASH, made.OUT_OF_REACH))
    assert row["stacking verdict"] == "pass"
    assert (row["collision verdict"], row["collision value"]) == ("fail", "3.214")
    assert row["reach verdict"] == "fail"
    assert row["reach value"] == ""


def test_a_placement_without_motion_has_no_cycle():
    (row,) = rows(made.judged(1, made.OUT_OF_REACH, motion=False))
    assert (row["cycle"], row["cycle [s]"]) == ("", "")


def test_text_that_a_spreadsheet_would_run_is_made_harmless():
    risky = made.CLASH._replace(message='=HYPERLINK("x")', between=("@SUM(1)", "-2+3"))
    (row,) = rows(made.judged(1, risky))
    assert row["message"].startswith("'=")
    assert row["first body"].startswith("'@")
    assert row["second body"] == "'-2+3"
    deep = made.CLASH._replace(value=-3.0)
    (row,) = rows(made.judged(1, deep))
    assert row["value"] == "-3"


def test_commas_quotes_and_line_breaks_stay_in_their_cell():
    (row,) = rows(made.judged(1, made.CLASH._replace(message='a, "b"\nc')))
    assert row["message"] == 'a, "b"\nc'
