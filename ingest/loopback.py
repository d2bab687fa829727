"""Which addresses only this machine can reach."""

from __future__ import annotations

from ipaddress import ip_address


def is_loopback(host: str) -> bool:
    """Return whether only this machine can reach `host`, a name or an address (in brackets or not)."""
    try:
        return ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host.lower() == "localhost"
