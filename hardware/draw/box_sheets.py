"""Schematic of the two relay boxes (mains: for a licensed person), and the block picture."""

import schemdraw
from schemdraw import elements as elm
from schemdraw import flow

TITLE = {
    "ssr": "Relay box, solid-state. MAINS: to be built and checked by a licensed person, under the local code",
    "mechanical": "Relay box, mechanical. MAINS: to be built and checked by a licensed person, under the local code",
}


def sheet(variant):
    """The mains side of one box: everything in series, both switches before the smoker."""
    with schemdraw.Drawing(show=False, unit=2.4, fontsize=11) as d:
        elm.Label().at((0, 2.6)).label(TITLE[variant], fontsize=14, halign="left")
        elm.Label().at((0, 1.9)).label(
            "120 V, 15 A circuit, at most 12.5 A (1500 W). In front: GF1, tested before each cook", halign="left"
        )
        line(d, variant)
        neutral_and_earth()
        controls(variant)
    return d


def line(d, variant):
    """The live conductor."""
    elm.Dot(open=True).at((0, 0)).label("W1\nline", loc="left")
    elm.Fuse().right().label("F1  15 A")
    elm.Breaker().right().label("TC1 manual reset\n120–130 °C", loc="bottom", ofst=0.45)
    k2 = elm.Switch().right().label("K2 pole 1")
    if variant == "ssr":
        elm.Switch().right().label("K1 solid-state\non HS1", loc="top")
    else:
        elm.Switch().right().label("K1 relay", loc="top")
    elm.Fuse().right().label("TF1 one-shot link\nat the element", loc="bottom", ofst=0.45)
    elm.Dot(open=True).label("W2\nline", loc="right")
    elm.Line(ls="--").at((k2.center[0], -0.2)).to((k2.center[0], -2.4))
    return d


def neutral_and_earth():
    """The other two conductors."""
    elm.Dot(open=True).at((0, -2.6)).label("W1\nneutral", loc="left")
    elm.Line().right(4.8)
    elm.Switch().right().label("K2 pole 2", loc="bottom", ofst=0.45)
    elm.Line().right(4.8)
    elm.Dot(open=True).label("W2\nneutral", loc="right")
    elm.Dot(open=True).at((0, -4.4)).label("W1\nearth", loc="left")
    elm.Line().right(6)
    elm.Dot().label("E1: box, heat sink, smoker's metal", loc="bottom", ofst=0.45)
    elm.Line().right(6)
    elm.Dot(open=True).label("W2\nearth", loc="right")


def controls(variant):
    """J20: the 5 V side."""
    pins = [
        (4, "GND (not used)"),
        (3, "K2 coil −"),
        (2, "K1 input −" if variant == "ssr" else "K1 coil −"),
        (1, "5V: K1 +, K2 +"),
    ]
    made = [elm.IcPin(name=text, side="left", pin=str(pin)) for pin, text in pins]
    elm.Ic(pins=made, size=(4.6, 2.8), leadlen=0.8, lblsize=11, plblsize=10).at((16.4, -3.6)).label(
        "J20 (5 V side, behind the barrier)", loc="top"
    )


def blocks():
    """Who tells whom, and what stands between the wall and the element."""
    with schemdraw.Drawing(show=False, unit=1.4, fontsize=11) as d:
        wall = flow.Box(w=2.6, h=1.3).label("wall outlet\nGF1")
        flow.Arrow().right(0.9).at(wall.E)
        fuse = flow.Box(w=2.6, h=1.3).label("fuse F1\ncut-out TC1").anchor("W")
        flow.Arrow().right(0.9).at(fuse.E)
        second = flow.Box(w=3.0, h=1.3).label("second switch\nK2").anchor("W")
        flow.Arrow().right(0.9).at(second.E)
        first = flow.Box(w=2.6, h=1.3).label("relay K1").anchor("W")
        flow.Arrow().right(0.9).at(first.E)
        smoker = flow.Box(w=3.4, h=1.3).label("smoker, own limit\nlink TF1, element").anchor("W")
        kit = (
            flow.Box(w=7.8, h=1.6)
            .label("kit U1: sense, guard, duty\nsounder, lamp, button")
            .at((second.S[0], -3.0))
            .anchor("N")
        )
        flow.Arrow().at((second.S[0], kit.N[1])).to(second.S)
        flow.Arrow().at((first.S[0], kit.N[1])).to(first.S)
        probes = (
            flow.Box(w=3.4, h=1.6).label("probes P1 …\nchamber, cores").at((smoker.S[0], kit.E[1])).anchor("center")
        )
        flow.Arrow().at(smoker.S).to(probes.N)
        flow.Arrow().at(probes.W).to(kit.E)
        bank = flow.Box(w=2.6, h=1.6).label("power bank\nPB1, 5 V").at((wall.S[0], kit.W[1])).anchor("center")
        flow.Arrow().at(bank.E).to(kit.W)
        hub = flow.Box(w=4.4, h=1.4).label("hub HB1\nrecord, page, calls").at((kit.S[0], kit.S[1] - 1.4)).anchor("N")
        flow.Arrow(double=True).at(kit.S).to(hub.N)
        phone = flow.Box(w=3.4, h=1.4).label("phone or\ncomputer").at((smoker.S[0], hub.E[1])).anchor("center")
        flow.Arrow(double=True).at(hub.E).to(phone.W)
        for text, at, align in (
            ("LIMIT: pulses, or open", (second.S[0] - 0.2, -1.9), "right"),
            ("RELAY", (first.S[0] + 0.2, -1.9), "left"),
            ("warms", (smoker.S[0] + 0.2, -1.9), "left"),
            ("Wi-Fi: readings up, permits down", (kit.S[0] + 0.2, kit.S[1] - 0.8), "left"),
        ):
            elm.Label().at(at).label(text, fontsize=10, halign=align)
    return d
