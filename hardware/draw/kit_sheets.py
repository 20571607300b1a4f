"""Schematic of each kit: the board from the pin map, one probe's channel, what stands behind it, and the outputs."""

import schemdraw
import tables
from schemdraw import elements as elm

UNIT = 2.2
NAMES = {
    "direct": "Kit, RP2 board, converter on the chip: chamber and 2 cores",
    "mux": "Kit, RP2 board with multiplexer: chamber and 7 cores, three known dividers",
    "esp32": "Kit, ESP32 board with two 16-bit converters: chamber and 5 cores",
    "fridge": "Refrigerator kit, RP2 board: 2 probes, no relay",
}
SERIES = {"esp32": "10k 0.1 %"}
PROBE = {"esp32": "NTC 10k"}


def sheet(variant):
    """The drawing of one kit."""
    with schemdraw.Drawing(show=False, unit=UNIT, fontsize=11) as d:
        elm.Label().at((0, 12.6)).label(NAMES[variant], fontsize=15, halign="left")
        board(variant, (0, 0))
        channel(d, variant, 11.2)
        if variant == "mux":
            multiplexer()
        if variant == "esp32":
            converters()
        inputs_and_lamp(variant)
        if variant != "fridge":
            relay_driver()
            limit_driver()
            connector()
    return d


def board(variant, at):
    """U1 with a pin for each row of the pin map: GPIO and pad inside, net outside."""
    rows = tables.pins(variant)
    made = []
    for row in rows:
        name = f"GPIO{row['pin']}" if row["setting"] else row["pin"]
        text = f"{row['net']}" if row["setting"] else row["net"]
        made.append(elm.IcPin(name=f"{name} ({row['place']})", side="right", pin=text, anchorname=row["net"]))
    elm.Ic(
        pins=made[::-1], size=(3.6, 0.72 * len(made) + 0.6), pinspacing=0.72, leadlen=1.6, lblsize=11, plblsize=11
    ).at(at).label("U1", loc="top")


def tag(text, at, side="right"):
    """A net's name at a wire's end."""
    elm.Tag(width=0.6 + 0.27 * len(text)).at(at).label(text, fontsize=10).theta(0 if side == "right" else 180)


def channel(d, variant, y):
    """One probe of many: divider, socket, guard resistor and reservoir."""
    x = 9.5
    supply = "3V3" if variant == "esp32" else "VREF"
    target = {"mux": "U2 inputs 1–7, 9", "esp32": "U4, U5 inputs 0–2"}.get(variant, "IN1, IN2, …")
    elm.Label().at((x - 0.4, y + 0.5)).label("each probe:", halign="left")
    elm.Vdd().at((x, y - 0.6)).label(supply)
    elm.Resistor().down().at((x, y - 0.6)).label(
        f"{tables.ref_of(variant, 'R11')}\n{SERIES.get(variant, '22k 0.1 %')}", loc="bottom"
    )
    node = d.here
    elm.Dot().at(node)
    elm.Line().down(0.5).at(node)
    elm.Resistor().down().label(
        f"{tables.ref_of(variant, 'P1')}\n{PROBE.get(variant, 'NTC 100k')}", loc="bottom"
    ).label(f"in socket\n{tables.ref_of(variant, 'J1')}", loc="top")
    elm.GroundSignal().label("AGND" if variant != "esp32" else "GND", loc="right")
    elm.Resistor().right().at(node).label(f"{tables.ref_of(variant, 'R21')}  1k")
    elm.Dot()
    here = d.here
    elm.Capacitor().down().at(here).label(f"{tables.ref_of(variant, 'C11')}\n2.2 µF", loc="bottom")
    elm.GroundSignal()
    elm.Line().right(0.6).at(here)
    tag(target, d.here)


def multiplexer():
    """U2, the two known resistors, the buffer."""
    x, y = 25.4, 2.6
    left = [("1", "1–7, 9: probes"), ("0", "0: known"), ("8", "8: known"), ("15", "15: known"), ("10", "10–14: AGND")]
    pins = [elm.IcPin(name=text, side="left", anchorname=f"in{pin}") for pin, text in left[::-1]]
    pins += [elm.IcPin(name=name.lower(), side="bottom", anchorname=name) for name in ("S0", "S1", "S2", "S3", "EN")]
    pins += [elm.IcPin(name="COM", side="right", anchorname="COM")]
    pins += [elm.IcPin(name=" ", side="top", anchorname="V")]
    u2 = (
        elm.Ic(pins=pins, size=(4.6, 6.4), leadlen=0.8, lblsize=11)
        .at((x, y))
        .label("U2  16 to 1", loc="center", ofst=(0.9, -0.9))
    )
    elm.Vdd().at(u2.V).label("3V3, C20 100 nF to GND")
    for number in range(4):
        tag_below(f"SEL{number}", getattr(u2, f"S{number}"))
    elm.GroundSignal().at(u2.EN)
    elm.Label().at((u2.in10[0] - 0.1, u2.in10[1])).label("AGND", halign="right")
    elm.Line().left(0.4).at(u2.in1)

    known(u2.in0, "R36 22k", "R37 22k", 8.4)
    known(u2.in8, "R32 22k", "R30 7.5k", 5.0)
    known(u2.in15, "R33 22k", "R31 68k", 1.6)
    amp = elm.Opamp(leads=True).theta(0).at((u2.COM[0] + 0.9, u2.COM[1])).anchor("in2").flip().label("U3", loc="center")
    elm.Line().at(u2.COM).to(amp.in2)
    elm.Line().down(1.1).at(amp.in1)
    elm.Line().right().tox(amp.out)
    elm.Line().up().toy(amp.out)
    elm.Dot().at(amp.out)
    elm.Line().right(0.4).at(amp.out)
    tag("COMMON", (amp.out[0] + 0.4, amp.out[1]))
    elm.Label().at((amp.out[0] - 2.6, amp.out[1] - 2.6)).label("3V3, C21 100 nF to GND", halign="left")


def tag_below(text, at):
    """A net's name under a pin."""
    elm.Line().down(0.25).at(at)
    elm.Label().label(text, loc="bottom").at((at[0], at[1] - 0.25))


def known(at, series, resistor, far):
    """A known resistor's divider, drawn to the left of its input."""
    elm.Line().left(far).at(at)
    elm.Dot()
    elm.Resistor().left(1.6).label(series, fontsize=9)
    elm.Vdd().label("VREF", fontsize=9).theta(0)
    elm.Resistor().down(1.6).at((at[0] - far, at[1])).label(resistor, loc="bottom", fontsize=9)
    elm.GroundSignal()


def converters():
    """U4 and U5 on the bus, each with the supply of the dividers on input 3."""
    for x, ref, address, cap in ((19.6, "U4", "72 (ADDR to GND)", "C20"), (28.0, "U5", "73 (ADDR to 3V3)", "C21")):
        names = [("0", "A0 probe"), ("1", "A1 probe"), ("2", "A2 probe"), ("3", "A3: 3V3")]
        pins = [elm.IcPin(name=text, side="left", anchorname=f"A{pin}") for pin, text in names[::-1]]
        pins += [elm.IcPin(name="SDA", side="right"), elm.IcPin(name="SCL", side="right")]
        pins += [elm.IcPin(name=" ", side="top", anchorname="V"), elm.IcPin(name=" ", side="bottom", anchorname="G")]
        chip = elm.Ic(pins=pins, size=(4.4, 3.6), leadlen=0.7, lblsize=10).at((x, 6.4)).label(ref, loc="center")
        elm.Vdd().at(chip.V).label(f"3V3, {cap} 100 nF to GND")
        elm.GroundSignal().at(chip.G)
        elm.Label().at((x + 0.2, 4.6)).label(f"address {address}", halign="left")
        tag("SDA", chip.SDA)
        tag("SCL", chip.SCL)
    for x, ref, net in ((19.6, "R34", "SDA"), (23.0, "R35", "SCL")):
        elm.Vdd().at((x, 3.0)).label("3V3")
        elm.Resistor().down(1.8).at((x, 3.0)).label(f"{ref}\n4.7k", loc="bottom")
        tag(net, (x, 1.2))


def inputs_and_lamp(variant):
    """Button, sounder and lamp."""
    x = 9.5
    y = 3.2
    elm.Label().at((x - 2.6, y + 0.8)).label("on the lid:", halign="left")
    for at, text, make in (
        (y, "BUTTON", lambda: elm.Button().right().label("S1")),
        (y - 1.5, "SOUNDER", lambda: elm.Speaker().right().label("LS1", loc="top")),
    ):
        tag(text, (x, at), side="left")
        elm.Line().right(0.3).at((x, at))
        made = make()
        if text == "BUTTON":
            elm.GroundSignal()
        else:
            elm.GroundSignal().at(made.in2)
    tag("LAMP", (x, y - 3.6), side="left")
    elm.Resistor().right(1.8).at((x, y - 3.6)).label("R42  680")
    elm.LED().right(1.4).label("D5", loc="bottom", ofst=0.35)
    elm.GroundSignal()
    if variant == "fridge":
        elm.Label().at((0, -1.0)).label("RELAY is wired to nothing.", halign="left")


def relay_driver():
    """Q1 pulls K1's coil."""
    x, y = 2.2, -5.2
    elm.Label().at((x - 2, y + 3.4)).label("relay K1:", halign="left")
    tag("RELAY", (x, y), side="left")
    elm.Resistor().right(1.8).at((x, y)).label("R40  220")
    elm.Dot()
    elm.Resistor().down(1.8).at((x + 1.8, y)).label("R41\n10k", loc="bottom")
    elm.GroundSignal()
    elm.Line().right(0.5).at((x + 1.8, y))
    q1 = elm.NFet(bulk=False).theta(0).reverse().at((x + 2.3, y)).anchor("gate").label("Q1", loc="right")
    elm.GroundSignal().at(q1.source)
    coil_side(q1.drain, "K1 COIL", "D1")


def coil_side(drain, name, diode):
    """Diode from the drain to 5 V, and the drain's net to J10."""
    elm.Line().up(0.3).at(drain)
    elm.Dot().at((drain[0], drain[1] + 0.3))
    elm.Diode().up(1.4).at((drain[0], drain[1] + 0.3)).label(diode, loc="bottom")
    elm.Vdd().label("5V")
    elm.Line().right(1.2).at((drain[0], drain[1] + 0.3))
    tag(name, (drain[0] + 1.2, drain[1] + 0.3))


def limit_driver():
    """Q3 makes edges of 5 V, D50 and D51 pump them, Q2 holds K2's coil while they come."""
    x, y = 9.8, -5.2
    elm.Label().at((x - 1, y + 3.4)).label("second switch K2: closed only while LIMIT keeps changing", halign="left")
    tag("LIMIT", (x, y - 1), side="left")
    elm.Resistor().right(1.6).at((x, y - 1)).label("R51  10k")
    q3 = elm.BjtNpn().right().at((x + 1.6, y - 1)).anchor("base").label("Q3", loc="right")
    elm.GroundSignal().at(q3.emitter)
    top = q3.collector
    elm.Line().up(0.3).at(top)
    node = (top[0], top[1] + 0.3)
    elm.Dot().at(node)
    elm.Resistor().up(1.6).at(node).label("R52\n1k", loc="top")
    elm.Vdd().label("5V")
    elm.Capacitor().right(2).at(node).label("C50  2.2 µF")
    pump = (node[0] + 2, node[1])
    elm.Dot().at(pump)
    elm.Diode().down(1.6).at(pump).reverse().label("D50", loc="top")
    elm.GroundSignal().at((pump[0], pump[1] - 1.6))
    elm.Diode().right(1.8).at(pump).label("D51")
    gate = (pump[0] + 1.8, pump[1])
    elm.Dot().at(gate)
    elm.Capacitor().down(1.6).at(gate).label("C51\n1 µF", loc="bottom")
    elm.GroundSignal()
    elm.Line().right(1.6).at(gate)
    elm.Dot()
    elm.Resistor().down(1.6).at((gate[0] + 1.6, gate[1])).label("R54\n470k", loc="bottom")
    elm.GroundSignal()
    elm.Line().right(0.8).at((gate[0] + 1.6, gate[1]))
    q2 = elm.NFet(bulk=False).theta(0).reverse().at((gate[0] + 2.4, gate[1])).anchor("gate").label("Q2", loc="right")
    elm.GroundSignal().at(q2.source)
    coil_side(q2.drain, "K2 COIL", "D2")


def connector():
    """J10 to the relay box."""
    pins = [
        elm.IcPin(name=text, side="left", pin=str(pin))
        for pin, text in ((4, "GND"), (3, "K2 COIL"), (2, "K1 COIL"), (1, "5V"))
    ]
    elm.Ic(pins=pins, size=(2.4, 2.8), leadlen=0.8, lblsize=11, plblsize=10).at((26.0, -6.6)).label(
        "J10 to the relay box", loc="top"
    )
