"""The series colours keep apart for colour-blind eyes, and text keeps apart from the page.

Colour-vision simulation: Machado, Oliveira & Fernandes 2009, matrices for severity 1.0 (from memory of the
published table). Contrast: WCAG 2.1, relative luminance.
"""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from dashboard.shell import palette as palette_module
from dashboard.shell.palette import DARK, LIGHT

THEME = Path(palette_module.__file__).parents[1] / "theme" / "ledger_paper.toml"
SEES = {
    "normal": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
TO_XYZ = np.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
                   [0.0193339, 0.1191920, 0.9503041]])  # fmt: skip


def linear(colour: str) -> np.ndarray:
    rgb = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    xyz = TO_XYZ @ np.clip(rgb, 0, 1) / np.array([0.95047, 1, 1.08883])
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(a: str, b: str) -> float:
    low, high = sorted((TO_XYZ[1] @ linear(a), TO_XYZ[1] @ linear(b)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("eyes", SEES)
def test_parts_of_the_risk_keep_apart(palette, eyes):
    colours = [lab(SEES[eyes] @ linear(c)) for c in (palette.wear, palette.drag, palette.sudden)]
    for i in range(3):
        for j in range(i):
            assert np.linalg.norm(colours[i] - colours[j]) > 20


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_text_and_marks_stand_out_from_the_page(palette):
    assert contrast(palette.ink, palette.paper) > 7
    assert contrast(palette.faint, palette.paper) > 7
    for mark in (palette.main, palette.wear, palette.drag, palette.other, palette.sudden):
        assert contrast(mark, palette.paper) > 3


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_letters_and_frames_of_the_pages_stand_out(scheme):
    """WCAG 2.2: 1.4.6 asks 7 : 1 of text, 1.4.11 3 : 1 of the frames of what is touched (read)."""
    theme = tomllib.loads(THEME.read_text())["theme"][scheme]
    for page in (theme["backgroundColor"], theme["secondaryBackgroundColor"]):
        for name in ("textColor", "linkColor", "grayTextColor"):
            assert contrast(theme[name], page) > 7, name
        for name in ("borderColor", "primaryColor"):
            assert contrast(theme[name], page) > 3, name
    for tint in ("green", "yellow", "red", "blue"):
        assert contrast(theme[f"{tint}TextColor"], theme[f"{tint}BackgroundColor"]) > 7


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_figures_are_read_on_every_shade(palette):
    for shade in (palette.paper, palette.filled):
        assert contrast(palette.ink, shade) > 4.5
