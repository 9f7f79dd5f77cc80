"""Free ports on the loopback address."""

import socket

HOST = "127.0.0.1"


def is_free(port: int) -> bool:
    with socket.socket() as tried:
        tried.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            tried.bind((HOST, port))
        except (OSError, OverflowError):
            return False
    return True


def free_port() -> int:
    with socket.socket() as tried:
        tried.bind((HOST, 0))
        return int(tried.getsockname()[1])
