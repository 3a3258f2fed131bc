"""The one way in."""

import threading

from monitor.live.inbox import Edge, Inbox, Stop


def test_messages_come_out_in_the_order_of_going_in() -> None:
    """First in, first out; nothing there is None."""
    inbox = Inbox()
    assert inbox.get(0) is None
    assert inbox.get(-1.0) is None
    inbox.put(Edge(1.0, True))
    inbox.put(Stop())
    assert inbox.get(0) == Edge(1.0, True)
    assert inbox.get(5.0) == Stop()


def test_a_message_from_another_thread_ends_the_waiting() -> None:
    """Long before the timeout."""
    inbox = Inbox()
    thread = threading.Thread(target=lambda: inbox.put(Stop()))
    thread.start()
    assert inbox.get(30.0) == Stop()
    thread.join()
