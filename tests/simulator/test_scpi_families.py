"""What all command families have in common, over TCP with a bare socket; and that they measure the same.

Mandatory common commands, error classes and message rules: IEEE 488.2 and SCPI-1999, from memory.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from benchsweep.errors import UsageError
from benchsweep.simulator import BenchOptions, running_bench

from .conftest import Client
from .family_clients import DRIVERS, Driver

LEGS = ("A:12.1", "A:12.2", "B:12.1", "B:12.2", "A:36.3", "A:36.6", "B:36.3", "B:36.6",
        "A:45.4", "A:45.5", "B:45.4", "B:45.5", "A:78.7", "A:78.8", "B:78.7", "B:78.8")  # fmt: skip


def connections(ports: int) -> str:
    return ",".join(f"{port}={leg}" for port, leg in enumerate(LEGS[:ports], 1))


@pytest.fixture(scope="module", params=list(DRIVERS))
def served(request: pytest.FixtureRequest) -> Iterator[tuple[str, Driver]]:
    """The address of a two-port analyzer of each family, and how it is driven."""
    with running_bench(BenchOptions(ports=2, family=request.param)) as bench:
        yield bench.address, DRIVERS[request.param]


@pytest.fixture
def client(served: tuple[str, Driver]) -> Iterator[Client]:
    one = Client(served[0])
    one.write("*RST", "*CLS", "STAT:PRES", "*ESE 0", "*SRE 0", "BENC:FAUL 'none'")
    assert one.errors() == []
    yield one
    one.close()


@pytest.fixture
def driver(served: tuple[str, Driver]) -> Driver:
    return served[1]


# -- conformance -------------------------------------------------------------------------------------------


def test_mandatory_common_commands(client: Client, driver: Driver) -> None:
    plus = driver.plus
    assert [len(field.strip()) > 0 for field in client.ask("*IDN?").split(",")] == [True] * 4
    assert client.ask("*TST?") == f"{plus}0"
    assert client.ask("SYST:VERS?") == "1999.0"
    client.write("*ESE 36;*SRE 48")
    assert client.ask("*ESE?;*SRE?") == f"{plus}36;{plus}48"
    client.write("NO:SUCH:HEADER")
    assert client.ask("*ESR?;*ESR?") == f"{plus}32;{plus}0"
    assert int(client.ask("*STB?")) & 4
    assert client.ask("SYST:ERR:COUN?") == f"{plus}1"
    client.write("INIT:CONT OFF;*CLS;*WAI")
    assert client.ask("SYST:ERR?") == f'{plus}0,"No error"'
    for group in ("STAT:OPER", "STAT:QUES"):
        client.write(f"{group}:ENAB 8")
        assert client.ask(f"{group}:ENAB?;EVEN?") == f"{plus}8;{plus}0"
    client.write("STAT:PRES")
    assert client.ask("STAT:OPER:ENAB?;:STAT:QUES:ENAB?") == f"{plus}0;{plus}0"


def test_path_memory_forms_and_case(client: Client, driver: Driver) -> None:
    client.write(":sense1:frequency:start 2e6;STOP 30 MHZ;*ESE 0;CENT 20 MHZ;SPAN 8E6")
    low, high = (float(x) for x in client.ask("SENS:FREQ:STAR?;STOP?").split(";"))
    assert (low, high) == (16e6, 24e6)
    client.write("SENS:FREQ:STAR 1E6;:SENS1:SWE:POIN 21;SENS:SWE:POIN 31")  # SENS:SWE:SENS:SWE:POIN
    assert client.errors() == [-113]
    assert client.ask("SWEEP:POINTS?") == f"{driver.plus}21"
    client.write("SENSE:SWEE:POIN 11", "SENSEF:SWE:POIN 11", "SENS:SWE:POINT 11")
    assert client.errors() == [-113, -113, -113]
    text = client.ask("SENS:FREQ:STOP?")
    assert text.startswith("+") is (driver.plus == "+")


def test_numbers_words_and_limits(client: Client, driver: Driver) -> None:
    low, high, normal = (float(x) for x in client.ask("SENS:FREQ:STAR? MIN;STAR? MAX;STAR? DEF").split(";"))
    assert (low, high, normal) == (9e3, 3e9, 1e6)
    client.write("SENS:FREQ:STOP MAX;:SENS:SWE:POIN MINimum;:SENS:AVER:COUN MAX")
    assert float(client.ask("SENS:FREQ:STOP?")) == 3e9
    assert int(client.ask("SENS:SWE:POIN?")) == 1
    assert int(client.ask("SENS:AVER:COUN?")) == driver.most_averages
    client.write("SENS:SWE:POIN DEF;:SENS:FREQ:STOP DEF")
    assert int(client.ask("SENS:SWE:POIN?")) == 500
    assert float(client.ask("SENS:FREQ:STOP?")) == 500e6
    client.write("SENS:AVER ON")
    assert client.ask("SENS:AVER:STAT?") == "1"
    if driver.sweep_type:
        client.write(f"SENS:{driver.sweep_type} LOGARITHMIC")
        assert client.ask(f"SENS:{driver.sweep_type}?") == "LOG"
    assert client.errors() == []


def test_settings_round_and_couple(client: Client) -> None:
    client.write("SENS:BWID 280")
    assert float(client.ask("SENS:BAND:RES?")) == 300
    client.write("SENS:FREQ:STAR 20E6;STOP 10 MHZ")
    assert [float(x) for x in client.ask("SENS:FREQ:STAR?;STOP?").split(";")] == [10e6, 10e6]
    client.write("SENS:FREQ:STAR 70E6")
    assert float(client.ask("SENS:FREQ:STOP?")) == 70e6
    assert client.errors() == []


@pytest.mark.parametrize(
    ("command", "number"),
    [
        ("SENS:SWE:POIN", -109),
        ("SENS:SWE:POIN 1,2", -108),
        ("SENS:SWE:POIN 'x'", -158),
        ("SENS:SWE:POIN 1E9", -222),
        ("SENS:FREQ:STAR 1 S", -131),
        ("SENS:AVER:STAT MAYBE", -141),
        ("SENS9999:SWE:POIN 11", -114),
        ("FORM REAL,48", {-224, -108}),
        ("FORM POLISH", -224),
        ("*TRG", -211),
        ("CALC:PAR:SEL 'nobody", -151),
        ("A%B", -101),
    ],
)
def test_each_mistake_has_its_number_and_its_class(client: Client, command: str, number: object) -> None:
    before = client.ask("SENS:SWE:POIN?")
    client.write(command)
    (found,) = client.errors()
    assert found in (number if isinstance(number, set) else {number})
    assert int(client.ask("*ESR?")) & 60 == (32 if found > -200 else 16)
    assert client.ask("SENS:SWE:POIN?") == before


def test_a_command_error_ends_the_message_and_an_execution_error_does_not(client: Client) -> None:
    client.write("SENS:SWE:POIN 21;:NONSENSE 1;:SENS:SWE:POIN 31")
    assert int(client.ask("SENS:SWE:POIN?")) == 21
    client.write("SENS:SWE:POIN 1E9;POIN 41")
    assert int(client.ask("SENS:SWE:POIN?")) == 41
    assert client.errors() == [-113, -222]


def test_after_a_preset_data_are_text_and_big_endian_and_corrected(client: Client, driver: Driver) -> None:
    assert client.ask("FORM?").split(",")[0] == "ASC"
    assert client.ask("SENS:CORR:STAT?") == "1"
    client.write("FORM REAL;:FORM:BORD SWAP", "*RST")
    assert client.ask("FORM?").split(",")[0] == "ASC"
    client.errors()
    if driver is not DRIVERS["single-channel"]:
        assert client.ask("FORM:BORD?") == "NORM"
        client.write("FORM:BORD SWAP")
        assert client.ask("FORM:BORD?") == "SWAP"


def test_channels_beyond_the_last_are_out_of_range(client: Client, driver: Driver) -> None:
    assert float(client.ask(f"SENS{driver.channels}:FREQ:STAR?")) > 0
    client.write(f"SENS{driver.channels + 1}:FREQ:STAR?")
    assert client.errors() == [-114]


def test_sweeping_shows_in_the_operation_status_until_it_ends(client: Client, driver: Driver) -> None:
    driver.set_up(client, (1, 2))
    assert int(client.ask("STAT:OPER:COND?")) & 8 == 0
    client.write("BENC:FAUL 'sweep-never-ends'", "*OPC")
    client.write({"numbered-trace": "TRIG:SING"}.get(_family(driver), "INIT"))
    assert int(client.ask("STAT:OPER:COND?")) & 8 == 8
    client.write("*CLS", "*OPC")
    assert client.ask("*ESR?") == f"{driver.plus}0"
    client.write("ABOR")
    assert int(client.ask("*ESR?")) & 1 == 1
    assert int(client.ask("STAT:OPER:COND?")) & 8 == 0
    assert client.errors() == []


def _family(driver: Driver) -> str:
    return next(name for name, one in DRIVERS.items() if one is driver)


def test_invalid_points_are_the_number_of_scpi(client: Client, driver: Driver) -> None:
    client.write(f"BENC:CONN '{connections(2)}'", "SENS:SWE:POIN 11")
    driver.set_up(client, (1, 2))
    client.write("BENC:FAUL 'invalid-points'")
    driver.take(client)
    bad = driver.matrix(client, (1, 2))
    assert np.any(bad.real == 9.91e37)
    driver.take(client)
    assert np.abs(driver.matrix(client, (1, 2))).max() < 10


def test_the_analyzers_own_correction_changes_the_data(client: Client, driver: Driver) -> None:
    client.write(f"BENC:CONN '{connections(2)}'", "SENS:SWE:POIN 11")
    driver.set_up(client, (1, 2))
    driver.take(client)
    raw = driver.matrix(client, (1, 2))
    client.write("SENS:CORR:STAT ON")
    assert np.abs(driver.matrix(client, (1, 2)) - raw).max() > 0.01
    client.write("SENS:CORR:STAT OFF")
    np.testing.assert_array_equal(driver.matrix(client, (1, 2)), raw)
    assert client.errors() == []


@pytest.mark.parametrize("bits", [32, 64])
@pytest.mark.parametrize("order", ["NORM", "SWAP"])
def test_blocks_and_text_say_the_same(client: Client, driver: Driver, bits: int, order: str) -> None:
    """Definite blocks in both byte orders and lengths; the header of a block is never swapped."""
    family = _family(driver)
    client.write(f"BENC:CONN '{connections(2)}'", "SENS:SWE:POIN 11")
    driver.set_up(client, (1, 2))
    driver.take(client)
    word = {32: "REAL32", 64: "REAL"}[bits] if family == "numbered-trace" else f"REAL,{bits}"
    client.write(f"FORM {word}")
    if family != "single-channel":
        client.write(f"FORM:BORD {order}")
    little = order == "SWAP" and family != "single-channel"
    question = {
        "named-measurement": "CALC:DATA:SNP:PORT? '1'",
        "numbered-measurement": "CALC:MEAS1:DATA:SDATA?",
        "quoted-parameter": "CALC:DATA:SGR? SDAT",
        "numbered-trace": "SENS:DATA:CORR? S11",
        "single-channel": "CALC:DATA:SDATA?",
        "sense-function": "TRAC? CH1SDATA",
    }[family]
    block = client.block(question, f"{'<' if little else '>'}f{bits // 8}")
    client.write("FORM ASC")
    text = np.array(client.ask(question).split(","), dtype=float)
    np.testing.assert_allclose(block, text, rtol=1e-6 if bits == 32 else 1e-11, atol=1e-12)
    assert client.errors() == []


# -- the same bench ----------------------------------------------------------------------------------------


def measured(family: str, ports: int) -> np.ndarray:
    driver = DRIVERS[family]
    with running_bench(BenchOptions(ports=ports, family=family, noiseless=True)) as bench:
        client = Client(bench.address)
        client.write("*RST", "*CLS", f"BENC:CONN '{connections(ports)}'")
        client.write("SENS:FREQ:STAR 1E6;STOP 100E6;:SENS:SWE:POIN 7")
        numbers = tuple(range(1, ports + 1))
        driver.set_up(client, numbers)
        driver.take(client)
        matrix = driver.matrix(client, numbers)
        assert client.errors() == []
        client.close()
    return matrix


@pytest.mark.parametrize("ports", [2, 4, 8, 16])
def test_all_families_read_the_same_raw_matrix(ports: int) -> None:
    found = {family: measured(family, ports) for family, one in DRIVERS.items() if ports in one.ports}
    assert len(found) >= 4
    first = found["named-measurement"]
    assert first.shape == (7, ports, ports)
    assert np.abs(first - first.transpose(0, 2, 1)).max() > 1e-3  # raw: a transposed one would show
    for family, matrix in found.items():
        np.testing.assert_allclose(matrix, first, rtol=0, atol=1e-14, err_msg=family)


def test_a_family_that_has_not_so_many_ports_says_so() -> None:
    for family, driver in DRIVERS.items():
        for ports in {2, 4, 8, 16} - set(driver.ports):
            options = BenchOptions(ports=ports, family=family)
            with pytest.raises(UsageError, match=family) as caught, running_bench(options):
                pass
            assert "port" in caught.value.hint
