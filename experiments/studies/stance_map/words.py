"""How the axes of a stance map read: which load lines move along them, and how far they are from each other."""

from experiments.studies.stance_map.study import followers
from sim.trial import Setting

WORDS = {"pivot_forefoot": "forefoot pivot"}


def axis_text(setting: Setting, axis: str) -> str:
    """An axis of the map with every load line that moves along it, and by how much that is ahead."""
    with_it = [f"{WORDS.get(name, name)}: {1e3 * ahead:+.0f} mm" for name, ahead in followers(setting, axis)]
    more = f"; moves with it, {', '.join(with_it)}" if with_it else ""
    return f"{axis} load line, mm (toe +{more})"


def moves_text(setting: Setting) -> str:
    """The same in a sentence, for both axes."""
    parts = []
    for axis in ("glide", "turn"):
        with_it = [
            f"the {WORDS.get(name, name)}'s, {1e3 * abs(ahead):.0f} mm {'behind' if ahead < 0 else 'ahead of'} it"
            for name, ahead in followers(setting, axis)
        ]
        parts.append(f"the {axis} line moves {'with ' + ' and '.join(with_it) if with_it else 'alone'}")
    return f"{'; '.join(parts).capitalize()}. Pivot on the heel, push, start and stop stay where they are stated."
