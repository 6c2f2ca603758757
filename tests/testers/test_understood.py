"""Names of quantities that need no mapping: those that README lists, however they are written."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchsweep.records import Parameter
from benchsweep.testers import load_mapping, read_results, typed_points, understood_names

README = Path(__file__).parents[2] / "README.md"
# As the trade abbreviates them (ISO/IEC 11801-1, ANSI/TIA-568; from memory).
USUAL = {
    "IL": "insertion_loss",
    "RL": "return_loss",
    "NEXT": "next",
    "PSNEXT": "ps_next",
    "PS-NEXT": "ps_next",
    "ACR-N": "acr_n",
    "PSACRN": "ps_acr_n",
    "ACRF": "acr_f",
    "ELFEXT": "acr_f",
    "PSACR-F": "ps_acr_f",
    "TCL": "tcl",
    "ELTCTL": "eltctl",
    "Propagation Delay": "delay",
    "delay_skew": "skew",
    "PSANEXT": "ps_anext",
    "PSAACRF": "ps_aacr_f",
}


@pytest.mark.parametrize(("name", "parameter"), USUAL.items())
def test_what_the_trade_abbreviates_is_understood(name: str, parameter: str) -> None:
    for text in (name, name.lower(), name.upper(), name.replace("-", " ")):
        pairs = "12-36" if parameter in ("next", "acr_n", "acr_f", "skew") else "12"
        end = "" if parameter in ("delay", "skew") else "A "
        (point,) = typed_points([f"{text} {end}{pairs} value 20 at 100 MHz"]).points
        assert point.parameter.value == parameter


def test_no_other_letters_are_a_quantity(tmp_path: Path) -> None:
    path = tmp_path / "told.csv"
    path.write_text("Frequency (MHz),RL A 12 (dB),Loop A 12 (dB),ILX A 12 (dB)\n1,20,1,2\n2,21,1,2\n")
    found = read_results(path, load_mapping("wide-values"))
    assert [trace.parameter for trace in found.traces] == [Parameter.RETURN_LOSS]
    assert found.traces[0].value.tolist() == [20.0, 21.0]


def test_a_mapping_goes_before(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    text = README.parent / "benchsweep/testers/mappings/wide-values.toml"
    own.write_text(text.read_text() + '\n[names.parameters]\n"RL" = "insertion_loss"\n')
    path = tmp_path / "told.csv"
    path.write_text("Frequency (MHz),RL A 12 (dB)\n1,2\n2,3\n")
    (trace,) = read_results(path, load_mapping(own)).traces
    assert trace.parameter is Parameter.INSERTION_LOSS


def test_readme_lists_them() -> None:
    section = README.read_text(encoding="utf-8").split("### What a field tester told", 1)[1]
    rows = {
        cells[1].strip().strip("`"): cells[2].strip()
        for line in section.split("### ", 1)[0].splitlines()
        if len(cells := line.split("|")) == 4
    }
    for parameter, names in understood_names().items():
        assert rows[parameter.value] == ", ".join(names[1:])
