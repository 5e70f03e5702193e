import socket
from contextlib import closing

from hidescan.page.serve import _listening


def test_a_browser_that_comes_before_the_program_is_ready_waits() -> None:
    with closing(_listening("127.0.0.1", 18745)) as listener:
        socket.create_connection(listener.getsockname(), timeout=5).close()


def test_two_programs_that_start_together_take_two_ports() -> None:
    with closing(_listening("127.0.0.1", 18755)) as one, closing(_listening("127.0.0.1", 18755)) as other:
        assert one.getsockname() != other.getsockname()
