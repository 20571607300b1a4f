// Pinch, pan and wheel over the chart's time. Up and down stays with the page, so that it can be scrolled.
export function fingers() {
  const down = new Map(); // pointer -> x
  let before = null;

  const spread = () => {
    const xs = [...down.values()];
    return { middle: xs.reduce((a, b) => a + b, 0) / xs.length, wide: xs.length > 1 ? Math.abs(xs[0] - xs[1]) : 0 };
  };

  function look(u, min, max) {
    const [first, last] = [u.data[0][0], u.data[0][u.data[0].length - 1]];
    const span = Math.min(last - first, Math.max(120, max - min));
    const from = Math.min(Math.max(first, min), last - span);
    u.reached = span >= last - first ? null : { min: from, max: from + span };
    u.setScale("x", { min: from, max: from + span });
  }

  function zoom(u, at, factor) {
    const { min, max } = u.scales.x;
    const t = u.posToVal(at, "x");
    look(u, t - (t - min) * factor, t + (max - t) * factor);
  }

  function init(u) {
    const over = u.over;
    const x = (event) => event.clientX - over.getBoundingClientRect().left;
    over.classList.add("fingers");
    over.addEventListener("wheel", (event) => { event.preventDefault(); zoom(u, x(event), event.deltaY > 0 ? 1.25 : 0.8); }, { passive: false });
    over.addEventListener("dblclick", () => look(u, -Infinity, Infinity));
    over.addEventListener("pointerdown", (event) => { over.setPointerCapture(event.pointerId); down.set(event.pointerId, x(event)); before = spread(); });
    over.addEventListener("pointermove", (event) => {
      if (!down.has(event.pointerId)) return;
      down.set(event.pointerId, x(event));
      const now = spread();
      if (before.wide > 10 && now.wide > 10) zoom(u, now.middle, before.wide / now.wide);
      const per = (u.scales.x.max - u.scales.x.min) / over.clientWidth;
      const by = (before.middle - now.middle) * per;
      look(u, u.scales.x.min + by, u.scales.x.max + by);
      before = now;
    });
    for (const name of ["pointerup", "pointercancel"]) {
      over.addEventListener(name, (event) => { down.delete(event.pointerId); before = down.size ? spread() : null; });
    }
  }

  return { hooks: { init } };
}
