"""The pedal diagram, drawn from plain SVG shapes.

The trade's picture: a horizontal line is the natural notch, a peg above it a pedal in flat
position (up), a peg below it sharp (down); the upright stroke parts the left foot's D C B from
the right foot's E F G A (Sibelius Academy harp notation manual; MusicXML 4.0, harp-pedals).
"""

from __future__ import annotations

from arranger.model.harp import LEFT_FOOT, PEDALS, PedalSetting

_WORD = {-1: "flat", 0: "natural", 1: "sharp"}
_STEP = 10  # distance between two pegs
_PEG = 8  # height of a peg
_DIVIDER = 8  # room for the stroke between the feet
_WIDTH = 7 * _STEP + _DIVIDER
_LINE = 11  # height at which the line lies
_HEIGHT = 32


def setting_words(setting: PedalSetting) -> str:
    """Say a setting for a reader who cannot see it, left foot first."""
    said = [f"{s} {_WORD[a]}" for s, a in zip(PEDALS, setting.alters, strict=True)]
    return f"left foot {', '.join(said[:3])}; right foot {', '.join(said[3:])}"


def setting_svg(setting: PedalSetting) -> str:
    """Return one inline ``<svg>`` of the setting, drawn in the colour of the text around it.

    The letters stand under the pegs; the picture carries its own spoken description.
    """
    words = f"Pedals: {setting_words(setting)}"
    stroke = len(LEFT_FOOT) * _STEP + _DIVIDER / 2
    shapes = [f'<path d="M0 {_LINE}H{_WIDTH}M{stroke:g} 1V{2 * _LINE - 1}"/>']
    letters = []
    for place, (step, alter) in enumerate(zip(PEDALS, setting.alters, strict=True)):
        x = place * _STEP + _STEP / 2 + (_DIVIDER if step not in LEFT_FOOT else 0)
        top = _LINE - _PEG / 2 + alter * (_PEG / 2 + 1)
        shapes.append(f'<path stroke-width="3" d="M{x:g} {top:g}v{_PEG}"/>')
        letters.append(f'<text x="{x:g}" y="{_HEIGHT - 2}" font-size="9" '
                       f'text-anchor="middle">{step}</text>')
    return (f'<svg class="pedals" viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" '
            f'aria-label="{words}"><title>{words}</title>'
            f'<g fill="none" stroke="currentColor" stroke-width="1">{"".join(shapes)}</g>'
            f'<g fill="currentColor" stroke="none">'
            f'{"".join(letters)}</g></svg>')
