"""The printed sheet: nothing lost, nothing loaded, names stay text, and page 1 is one sheet of paper."""

import copy
import json
import re
import shutil
import subprocess
from html.parser import HTMLParser

import numpy as np
import pytest

from experiments.studies.recommend.inline import curves, trade
from experiments.studies.recommend.page import page, write_sheet

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
PHYSICS = "The physics, for those who ask"
SENTENCE = "words about a blade that go on for rather longer than a sheet has room for, as words do "


def _long(count, start=""):
    return (start + 9 * SENTENCE)[:count]


def _number(label, clear=True):
    return {
        "label": label, "unit": "N m", "now": "1.62", "then": "1.44", "then_interval": "1.31 to 1.58", "ratio": "0.89",
        "ratio_interval": "0.85 to 0.93", "better": "less is better: pivots easily", "clear": clear,
    }  # fmt: skip


def _choice(role, name):
    steel = {"heel_mm": 0.12, "mid_mm": 0.35, "toe_mm": 0.08, "most_mm": 0.36, "height_left": "not known"}
    return {
        "role": role, "name": name, "recipe": "mid-flat 8/12/8 ft", "score": "+0.061 (+0.022 to +0.104)",
        "first_in": "78 %", "numbers": [_number("pivot"), _number("tightest"), _number("ankle", False)],
        "steels": [{"side": "left"} | steel, {"side": "right"} | steel], "tip": "none that stands out",
    }  # fmt: skip


def _wish(wish):
    return {"wish": wish, "answer": "yes", "blade": "long middle", "buys": "9 % better (8 to 11 %)",
            "costs": "glide 2 % (1 to 3 %)", "steel_mm": "0.36", "single": "single 9 ft: 5 % better (4 to 6 %)",
            "zones": "4 % (3 to 5 %)"}  # fmt: skip


def _blade(side, zones=3):
    zone = {"from_mm": -42, "to_mm": 12, "from_interval": "-46 to -38 mm", "radius": "9.1 ft", "interval": "8 to 9 ft"}
    single = {"label": "best single radius", "value": "9.8 ft", "interval": "9.6 to 10.0 ft"}
    findings = ["Three zones stand out.", "No point was set aside."]
    return {"side": side, "noise_um": 3.1, "single": single, "zones": [zone] * zones, "findings": findings}


def _facts():
    return {
        "run": {"id": "20261125-101500-ab12cd", "date": "2026-11-25", "command": "arcstride", "draws": 256},
        "subject": [["Skater", "no name given, 82 kg"], ["Ice", "-5 degC"]],
        "blades": [_blade("left"), _blade("right", 1)],
        "pair": "Left against right: up to 38 um apart.",
        "verdict": {
            "kind": "regrind",
            "reason": "",
            "headline": "Regrind to long middle",
            "plain": ["Your list ends."],
            "rule": "Rule: regrind in 90 %, wrong in 3 of 100.",
            "measure": "To settle it: weigh.",
        },
        "last_visit": {
            "line": "Last visit 2026-11-03: advised single 9 ft; found better",
            "head": ["", "then", "today"],
            "rows": [["Left blade", "9.0 ft", "9.3 ft"]],
            "between": ["0.30 mm of steel went."],
        },
        "complaints": ["Feels wobbly: the advised blade makes it 5 % better."],
        "choices": [_choice("recommended", "long middle"), _choice("runner-up", "nine feet")],
        "gains": ["Pivots easier: 11 % (7 to 15 %)"],
        "drawbacks": ["Glides less far: 3 % (2 to 4 %)"],
        "even": ["Too close to call: steadiness."],
        "menu": [_wish("tighter turn"), _wish("longer glide")],
        "adapt": "Expect a few sessions; common practice, no published source.",
        "edges": {"words": "What 25 um would cost", "rows": [["hold angle at push", "+11 %", "-11 %"]]},
        "others": [{"name": "refreshed", "score": "+0.010", "first_in": "5 %", "steel_mm": "0.12", "note": "close"}],
        "cautions": ["Eye and lung protection.", "First session slowly."],
        "unknown": ["Skill and boot are not in the model."],
        "physics": ["The blade is rigid.", "Every interval is 5 to 95 %."],
        "table": {"head": ["measure", "unit", "as measured"], "rows": [["glide drag coefficient", "", "0.00406"]]},
        "sources": ["Ice hardness: value from memory."],
    }


def _largest():
    """Everything as long as it may come, and longer."""
    facts = _facts()
    facts["subject"] = [[f"Item {i}", _long(200)] for i in range(12)]
    facts["blades"] = [_blade("left", 6), _blade("right", 6)]
    for blade in facts["blades"]:
        blade["findings"] = [_long(200, f"Finding {i} ") for i in range(5)]
    facts["pair"], facts["adapt"] = _long(300), _long(300)
    facts["last_visit"] = {"line": _long(200, "Last "), "head": ["", "then", "today"],
                           "rows": [[_long(60), _long(200), _long(200)]] * 15, "between": [_long(200)] * 4}  # fmt: skip
    facts["verdict"] |= {"headline": _long(200), "plain": [_long(200, f"Plain {i} ") for i in range(5)]}
    for choice in facts["choices"]:
        choice["name"], choice["recipe"] = _long(60, choice["name"] + " W"), _long(200)
        choice["tip"] = _long(150)
        for steel in choice["steels"]:
            steel["height_left"] = _long(150)
        choice["numbers"] = [_number(_long(60, f"Measure {i} ")) | {"better": _long(100)} for i in range(5)]
    facts["menu"] = [_wish(_long(60, f"Wish {i} ")) for i in range(9)]
    for row in facts["menu"]:
        row |= {name: _long(120) for name in ("blade", "buys", "costs", "single", "zones")}
    facts["verdict"] |= {"rule": _long(700), "measure": _long(300)}
    facts["even"] = [_long(250, "Hardly "), _long(250, "Close ")]
    for name in ("complaints", "gains", "drawbacks", "cautions", "unknown"):
        facts[name] = [_long(250, f"{name} {i} ") for i in range(7)]
    facts["others"] = [facts["others"][0] | {"name": _long(60, f"Other {i} ")} for i in range(25)]
    facts["table"]["rows"] *= 45
    return facts


def _busy(complaints, reasons, zones, felt, wishes):
    """A pair of which every part has as much to say as a real one may; both choices with the steel of both blades."""
    facts = _facts() | {"blades": [_blade("left", zones), _blade("right", zones)]}
    facts["subject"] = [[f"Item {i}", _long(110)] for i in range(7)]
    facts["complaints"] = [_long(110, f"Complaint {i} ") for i in range(complaints)]
    facts["verdict"] |= {"plain": [_long(170, "Reason 0 "), *(_long(80, f"Reason {i} ") for i in range(1, reasons))],
                         "rule": _long(330), "measure": _long(150)}  # fmt: skip
    facts["gains"], facts["drawbacks"] = ([f"{way} {i}: 3 % (2 to 4 %)" for i in range(felt)] for way in ("Up", "Down"))
    facts["even"] = [_long(150, "Hardly "), _long(150, "Close ")]
    costs = "start loss 4 % (2 to 5 %); drag in a fast turn 3 % (2 to 4 %)"
    facts["menu"] = [_wish(f"wish {i}") | ({"costs": costs} if i < wishes else {"buys": ""}) for i in range(7)]
    for choice in facts["choices"]:
        choice["recipe"], choice["tip"] = _long(80), _long(90)
    return facts


BUSY = {
    "-".join(map(str, of)): _busy(*of)
    for of in ((1, 2, 2, 9, 3), (0, 3, 4, 9, 0), (3, 3, 4, 9, 7), (1, 3, 3, 8, 7), (0, 2, 1, 9, 7))
}


def _unbroken():
    """The largest with names that have no space to break at."""
    facts = _largest()
    facts["verdict"]["headline"] = facts["verdict"]["headline"].replace(" ", "_")
    facts["subject"] = [[name, text.replace(" ", "_")] for name, text in facts["subject"]]
    for choice in facts["choices"]:
        choice["name"] = choice["name"].replace(" ", "_")
    return facts


def _curve(name, radius_mm, **more):
    x = np.linspace(-120, 120, 121)
    return {"name": name, "x_mm": x, "z_mm": x**2 / (2 * radius_mm) + 0.02 * np.sin(x / 30)} | more


def _figures(name="long middle"):
    left = _curve("left", 2990, zones_mm=[-42, 12], flags_mm=[35.0], low_um=-4, high_um=4)
    left["points_mm"] = (left["x_mm"], left["z_mm"] + 0.003)
    point = {"x_low": 1.6, "x_high": 1.8, "y_low": 880, "y_high": 920}
    points = [{"name": n, "role": r, "x": x, "y": y} | point for n, r, x, y in (
        ("left", "measured", 1.8, 905), (name, "recommended", 1.7, 890), ("nine feet", "runner-up", 1.74, 910),
    )] + [{"name": f"o{i}", "role": "other", "x": 1.7 + 0.01 * i, "y": 930 - 3 * i} for i in range(20)]  # fmt: skip
    feet = np.geomspace(6, 16, 20)
    line = {"x": 1.2 + 0.06 * feet, "y": 420 + 1500 / np.sqrt(feet), "radius_ft": feet}
    return {
        "curves": curves([left, _curve("right", 2870)], [_curve(name, 2700), _curve("nine feet", 2743)]),
        "trade": trade(points, line, {"x": "pivot, N m", "y": "ankle stiffness, N m/rad"}),
    }


class _Tags(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.tags, self.attributes, self.text = [], [], ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data):
        self.text += data


def _strings(value):
    """Every text inside a fact."""
    if isinstance(value, dict):
        return [s for v in value.values() for s in _strings(v)]
    if isinstance(value, list | tuple):
        return [s for v in value for s in _strings(v)]
    return [" ".join(value.split())] if isinstance(value, str) else []


def _renamed(value, text):
    if isinstance(value, dict):
        return {k: v if k == "kind" else _renamed(v, text) for k, v in value.items()}
    if isinstance(value, list):
        return [_renamed(v, text) for v in value]
    return text if isinstance(value, str) else value


@pytest.mark.parametrize("facts", [_facts(), _largest()], ids=["usual", "largest"])
def test_every_fact_is_on_the_sheet(facts):
    facts["verdict"].pop("kind"), facts["verdict"].pop("reason")  # printed in other words
    shown = " ".join(_Tags(page(facts, _figures())).text.split()).lower()
    roles = {"recommended", "runner-up"}
    sides = {"left", "right"}
    missing = [s for s in _strings(facts) if s.lower() not in shown and s not in roles | sides]
    assert not missing


def test_names_are_text_and_never_markup():
    evil = "<script>alert('1')</script><img src=x> $x_1$ & more"
    text = page(_renamed(_facts(), evil), _figures(evil))
    tags = _Tags(text)
    assert "script" not in tags.tags and "img" not in tags.tags
    assert evil in " ".join(tags.text.split())


def test_nothing_is_loaded_from_elsewhere():
    text = page(_facts(), _figures())
    tags = _Tags(text)
    assert not {"script", "link", "img", "iframe", "object", "image"} & set(tags.tags)
    links = [v for k, v in tags.attributes if k in ("href", "xlink:href", "src", "data", "action")]
    assert links and all(link.startswith("#") for link in links)
    assert "http" not in text and "@import" not in text
    assert all(inner.startswith("#") for inner in re.findall(r"url\(([^)]*)\)", text))


def test_ids_are_there_once_and_meant_ones_exist():
    text = page(_facts(), _figures())
    ids = re.findall(r'\bid="([^"]*)"', text)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r'(?:url\(|href=")#([^)"]*)', text)) <= set(ids)


@pytest.mark.parametrize("facts", [{}, {"run": {}, "verdict": None, "choices": [], "blades": None, "edges": None}])
def test_smallest_facts_make_a_page(facts):
    text = page(facts, {})
    assert PHYSICS in text and "None" not in text


def test_one_blade_one_choice_and_missing_parts():
    facts = _facts() | {"blades": [_blade("")], "choices": [{"role": "recommended", "name": "x"}], "pair": None}
    text = page(facts, {})
    assert "The blade as it is" in text and "Recommended:" in text and "None" not in text


@pytest.mark.parametrize("kind", ["leave", "cannot_tell"])
def test_a_verdict_to_leave_it_recommends_nothing(kind):
    facts = _facts()
    facts["verdict"]["kind"] = kind
    text = _Tags(page(facts, {})).text.lower()
    words = {"leave": "leave it; what follows", "cannot_tell": "leave it for now; what follows"}[kind]
    assert f"{words} is to compare" in text and "recommended:" not in text and "to compare:" in text
    assert "what would get better, were it changed" in text and "what gets worse" not in text


def test_the_first_page_answers_complaints_first_and_keeps_gains_beside_drawbacks():
    """And neither a score nor a measure's technical name: those are for page 2 (T8, T12)."""
    text = " ".join(_Tags(page(_facts(), _figures())).text.split())
    first, second = text.split(PHYSICS)
    order = (
        "Regrind to long middle", "Feels wobbly", "Your list ends", "What gets better", "What gets worse",
        "Too close to call: steadiness", "To settle it", "Rule:", "Left blade as it is", "Steel to remove", "Menu",
    )  # fmt: skip
    places = [first.index(words) for words in order]
    assert places == sorted(places)
    assert "N m" not in first and "+0.061" not in first and "ankle stiffness" not in first
    assert "+0.061" in second and "N m" in second


def test_what_gets_worse_stays_on_page_one_as_long_as_what_gets_better():
    """Of one measured blade nine of each; where there is no room, as many of both."""
    facts = _facts() | {"blades": [_blade("left", 1)]}
    facts["gains"], facts["drawbacks"] = ([f"{way}{i}" for i in range(9)] for way in ("Up", "Down"))
    first = _Tags(page(facts, {})).text.split(PHYSICS)[0]
    assert all(f"{way}{i}" in first for way in ("Up", "Down") for i in range(9))
    first = _Tags(page(_busy(3, 3, 4, 9, 7), {})).text.split(PHYSICS)[0]
    assert ("Up 2:" in first, "Up 3:" in first) == ("Down 2:" in first, "Down 3:" in first) == (True, False)


def test_clear_and_close_are_said_in_words():
    text = page(_facts(), {})
    assert text.count(">clear<") == 4 and text.count(">too close to call<") == 2


def test_written_sheet_has_the_same_facts_beside_it(tmp_path):
    facts = _facts()
    before = copy.deepcopy(facts)
    write_sheet(tmp_path, facts, _figures())
    assert json.loads((tmp_path / "sheet.json").read_text(encoding="utf-8")) == before
    assert (tmp_path / "sheet.html").read_text(encoding="utf-8") == page(before, _figures())
    assert sorted(p.name for p in tmp_path.iterdir()) == ["sheet.html", "sheet.json"]


def test_figures_of_nothing_are_empty_and_gaps_are_left_out():
    assert curves([], []) == "" and trade([], {}, {}) == ""
    assert trade([{"name": "a", "role": "measured", "x": float("nan"), "y": 1.0}], {}, {}) == ""
    alone = trade([{"name": "a", "role": "measured", "x": 1, "y": 1, "x_low": None}], {}, {"x": "", "y": ""})
    flat = {"name": "flat", "x_mm": np.arange(9.0), "z_mm": np.zeros(9), "points_mm": None}
    broken = _curve("broken", 3000) | {"z_mm": np.where(np.arange(121) % 7 == 0, np.nan, 0.1)}
    for svg in (alone, curves([flat], []), curves([broken], [flat])):
        assert svg.startswith("<svg") and svg.endswith("</svg>") and "nan" not in svg


@pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine: the printed page cannot be checked")
@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("facts", [_facts(), _largest(), _unbroken(), *BUSY.values()],
                         ids=["usual", "largest", "unbroken", *BUSY])  # fmt: skip
def test_page_one_is_one_sheet_of_paper(tmp_path, paper, facts):
    pypdf = pytest.importorskip("pypdf")
    text = page(facts, _figures(_long(60)))
    source, printed = tmp_path / "sheet.html", tmp_path / "sheet.pdf"
    source.write_text(text.replace("</head>", f"<style>@page{{size:{paper}}}</style></head>"), encoding="utf-8")
    quiet = (
        "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
        "--disable-component-update --disable-sync --no-pdf-header-footer"
    )
    command = [CHROMIUM, *quiet.split(), f"--user-data-dir={tmp_path / 'browser'}", f"--print-to-pdf={printed}"]
    subprocess.run([*command, source.as_uri()], check=True, capture_output=True, timeout=120)
    pages = pypdf.PdfReader(printed).pages
    width = {"A4": 595, "Letter": 612}[paper]
    assert abs(float(pages[0].mediabox.width) - width) < 2
    first, second = (" ".join(page.extract_text().split()) for page in pages[:2])
    assert first.startswith("Blade sheet") and first.endswith(f"Run {facts['run']['id']}")
    for words in ("What gets better", "What gets worse", "Right blade as it is", "Steel to remove", "Menu", "Cautions",
                  "is not known"):  # fmt: skip
        assert words in first
    assert second.startswith(PHYSICS)
