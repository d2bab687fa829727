"""Libraries that only some need, the extras of pyproject.toml: how one is installed, said in one way."""


def how_to_install(extra: str) -> str:
    """Return what to type for an extra, as a part of a sentence.

    The program is in no registry: an extra is installed from a clone, as the rest was.
    """
    return f"pip install '.[{extra}]' in the folder of your clone"
