"""The panel that writes down what it was told."""

from __future__ import annotations

import pytest

from hardware.errors import HardwareConfig
from hardware.ports import PanelPort
from hardware.simulated.panel import RecordingPanel


class Ticking:
    """A clock that goes on by one at each look."""

    now_s = 0.0

    def __call__(self) -> float:
        """The next second."""
        self.now_s += 1
        return self.now_s


def test_edges_are_kept_with_their_time() -> None:
    """On and off once each, the same level again not, off at close."""
    panel = RecordingPanel(Ticking())
    port: PanelPort = panel  # the shape of the port, for the type checker
    port.sounder.set(True)
    port.sounder.set(True)
    port.sounder.set(False)
    port.sounder.set(True)
    port.close()
    assert panel.sounder.edges == [(1, True), (2, False), (3, True), (4, False)]


def test_the_lamp_is_none_until_opened() -> None:
    """So a test can see that a session never asked for it."""
    panel = RecordingPanel(Ticking())
    assert panel.lamp is None
    assert panel.open_lamp() is panel.open_lamp() is panel.lamp
    with pytest.raises(HardwareConfig):
        RecordingPanel(Ticking(), has_lamp=False).open_lamp()


def test_the_switch_moves_as_the_test_moves_it_and_can_die() -> None:
    """Edges go to the listener; a dead switch tells nobody and the panel knows."""
    panel = RecordingPanel(Ticking())
    heard: list[tuple[float, bool]] = []
    assert panel.switch is not None
    panel.switch.listen(lambda mono_s, down: heard.append((mono_s, down)))
    panel.switch.move(True)
    panel.switch.move(True)
    panel.switch.move(False)
    assert heard == [(1, True), (2, False)]
    panel.switch.dead = True
    panel.switch.move(True)
    assert panel.switch.is_down()
    assert len(heard) == 2
    assert not panel.alive()
    assert RecordingPanel(Ticking(), has_switch=False).alive()


def test_a_pin_that_has_gone_raises_as_the_port_says() -> None:
    """Broken or closed, it cannot come on."""
    panel = RecordingPanel(Ticking())
    panel.sounder.broken = True
    with pytest.raises(OSError, match="gone"):
        panel.sounder.set(True)
    panel.sounder.broken = False
    panel.close()
    with pytest.raises(OSError, match="gone"):
        panel.sounder.set(True)
