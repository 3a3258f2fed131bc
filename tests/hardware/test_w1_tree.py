"""How a temperature looks on the virtual 1-Wire tree."""

from __future__ import annotations

from pathlib import Path

import pytest
from crccheck.crc import Crc8Maxim
from hypothesis import given
from hypothesis import strategies as st

from hardware.ports import Sample
from hardware.simulated.w1_tree import POWER_ON, W1Tree, crc8, scratchpad, slave_text


@pytest.mark.parametrize(
    ("block", "crc"),
    [
        (b"123456789", 0xA1),  # the usual check value of this checksum
        (bytes.fromhex("021cb801000000"), 0xA2),  # ROM of Application Note 27
        (bytes.fromhex("50054b467fff0c10"), 0x1C),  # power-on scratchpad, DS18B20
        (bytes.fromhex("91014b467fff0f10"), 0x25),  # 25.0625 C
    ],
)
def test_the_checksum_is_the_published_one(block: bytes, crc: int) -> None:
    """Blocks with known checksums; a block that ends in its own gives zero."""
    assert crc8(block) == crc
    assert crc8(block + bytes([crc])) == 0


def test_a_wrong_rom_does_not_check() -> None:
    """A ROM that is known to be mistyped is not accepted by accident."""
    assert crc8(bytes.fromhex("01fa5258100000")) != 0x10


@given(st.binary(max_size=64))
def test_the_checksum_agrees_with_an_independent_one(block: bytes) -> None:
    """Any block, against the registry package crccheck."""
    assert crc8(block) == Crc8Maxim.calc(block)


def test_the_file_is_written_as_the_kernel_writes_it() -> None:
    """The kernel's own layout, with the data sheet's 25.0625 C, and thousandths towards zero below it."""
    text = slave_text(scratchpad(25.0625))
    assert text == "91 01 4b 46 7f ff 0f 10 25 : crc=25 YES\n91 01 4b 46 7f ff 0f 10 25 t=25062\n"
    assert slave_text(scratchpad(-0.0625)).endswith(" t=-62\n")
    assert slave_text(POWER_ON).endswith("50 05 4b 46 7f ff 0c 10 1c t=85000\n")
    assert "NO\n" in slave_text(POWER_ON[:-1] + b"\0")


def test_the_tree_shows_values_and_faults(tmp_path: Path) -> None:
    """A value is a file, an unreadable probe an empty one, an unplugged probe no folder; nothing else is left behind."""
    tree = W1Tree(tmp_path / "w1")
    folder = tmp_path / "w1" / "28-000000000a01"
    tree.show(folder.name, Sample("x", 0, 20.0))
    assert [p.name for p in folder.iterdir()] == ["w1_slave"]
    tree.show(folder.name, Sample("x", 0, None, "crc"))
    assert (folder / "w1_slave").read_bytes() == b""
    tree.show(folder.name, Sample("x", 0, 85.0, "reset"))
    assert "50 05" in (folder / "w1_slave").read_text()
    tree.show(folder.name, Sample("x", 0, None, "missing"))
    tree.show(folder.name, Sample("x", 0, None, "missing"))
    assert not folder.exists()
