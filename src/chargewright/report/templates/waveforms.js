"use strict";
// Curves over one time axis. Pointer or arrow keys move the cursor; drag, wheel or + and - choose the stretch; M sets a
// mark that the read-out counts from.
(() => {
  const views = JSON.parse(document.getElementById("data").textContent);
  const by = (id) => document.getElementById(id);
  const plot = by("plot"), chooser = by("view"), boxes = by("shown"), readout = by("readout"), note = by("note");
  const TALL = 150, GAP = 36, LEFT = 64, RIGHT = 12, TOP = 22, LEAST = 8;
  let view, from, to, at, mark, drag, width;
  const hidden = new Set();

  const element = (tag, attributes, parent, words) => {
    const made = document.createElementNS(parent === undefined || parent instanceof SVGElement ? "http://www.w3.org/2000/svg" : "http://www.w3.org/1999/xhtml", tag);
    for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
    if (words !== undefined) made.textContent = words;
    if (parent) parent.appendChild(made);
    return made;
  };
  const signed = (words) => words.replace("-", "\u2212");
  const shown = (value, unit) => {
    if (value === null || !Number.isFinite(value)) return "\u2013";
    if (unit === "1") return signed((100 * value).toPrecision(4)) + " %";
    const size = Math.abs(value);
    const [scale, prefix] = [[1e6, "M"], [1e3, "k"], [1, ""], [1e-3, "m"], [1e-6, "\u00b5"], [1e-9, "n"]].find(([s]) => size >= s) || [1, ""];
    return signed(Number((value / scale).toPrecision(4)).toString()) + " " + prefix + unit;
  };
  const nearest = (t) => {
    let low = 0, high = view.t.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (view.t[middle] <= t) low = middle; else high = middle;
    }
    return t - view.t[low] < view.t[high] - t ? low : high;
  };
  const step = (span, most) => {
    const power = 10 ** Math.floor(Math.log10(span / most));
    return [1, 2, 5, 10].map((m) => m * power).find((s) => span / s <= most + 1e-9);
  };
  const ticks = (low, high, most) => {
    const by = step(high - low, most), found = [];
    for (let k = Math.ceil(low / by - 1e-9); k * by <= high + 1e-9 * by; k++) found.push(k * by);
    const digits = Math.min(Math.max(0, -Math.floor(Math.log10(by) + 1e-9)), 9);
    return found.map((value) => [value, signed(value.toFixed(digits))]);
  };
  const drawn = () => view.curves.filter((curve) => !hidden.has(curve.key));
  const inside = () => [Math.max(0, nearest(from) - 1), Math.min(view.t.length - 1, nearest(to) + 1)];
  const x = (t) => LEFT + (width - LEFT - RIGHT) * (t - from) / (to - from);
  const time = (px) => from + (to - from) * (px - LEFT) / (width - LEFT - RIGHT);

  const axis = (curve, first, last) => {
    let low = Infinity, high = -Infinity;
    for (let k = first; k <= last; k++) {
      low = Math.min(low, curve.low[k] ?? Infinity, curve.mean[k] ?? Infinity);
      high = Math.max(high, curve.high[k] ?? -Infinity, curve.mean[k] ?? -Infinity);
    }
    if (!(high >= low)) [low, high] = [0, 1];
    const least = Math.max(0.01 * Math.max(Math.abs(low), Math.abs(high)), 1e-6);
    if (high - low < least) [low, high] = [(low + high - least) / 2, (low + high + least) / 2];
    for (const limit of view.limits)
      if (limit.of === curve.key && limit.value > low - (high - low) && limit.value < high + (high - low))
        [low, high] = [Math.min(low, limit.value), Math.max(high, limit.value)];
    const room = 0.06 * (high - low);
    return [low - room, high + room];
  };
  const envelope = (curve, first, last, y) => {
    // One least and one greatest value for each column of the screen: a peak of one period stays to be seen.
    const pieces = Math.min(last - first + 1, Math.ceil(width)), above = [], below = [];
    for (let p = 0; p < pieces; p++) {
      const a = first + Math.floor(p * (last - first + 1) / pieces), b = first + Math.floor((p + 1) * (last - first + 1) / pieces);
      let low = Infinity, high = -Infinity;
      for (let k = a; k < b; k++) { low = Math.min(low, curve.low[k] ?? Infinity); high = Math.max(high, curve.high[k] ?? -Infinity); }
      if (high < low) continue;
      above.push(`${x(view.t[a]).toFixed(1)} ${y(high).toFixed(1)}`);
      below.push(`${x(view.t[a]).toFixed(1)} ${y(low).toFixed(1)}`);
    }
    return above.length ? "M" + above.concat(below.reverse()).join("L") + "Z" : "";
  };
  const line = (curve, first, last, y) => {
    const stride = Math.max(1, Math.floor((last - first) / (4 * width)));
    let path = "", pen = false;
    for (let k = first; k <= last; k += stride) {
      const value = curve.mean[k];
      if (value === null) { pen = false; continue; }
      path += `${pen ? "L" : "M"}${x(view.t[k]).toFixed(1)} ${y(value).toFixed(1)}`;
      pen = true;
    }
    return path;
  };

  const draw = () => {
    width = Math.max(plot.clientWidth || 800, 320);
    const curves = drawn(), tall = TOP + curves.length * (TALL + GAP) + 14;
    plot.setAttribute("viewBox", `0 0 ${width} ${tall}`);
    plot.setAttribute("height", tall);
    plot.replaceChildren();
    const clip = element("clipPath", { id: "inside" }, element("defs", {}, plot));
    element("rect", { x: LEFT, y: 0, width: width - LEFT - RIGHT, height: tall }, clip);
    const [first, last] = inside();
    const span = to - from, [scale, unit] = span < 2e-3 ? [1e6, "\u00b5s"] : span < 2 ? [1e3, "ms"] : [1, "s"];
    curves.forEach((curve, n) => {
      const top = TOP + n * (TALL + GAP), [low, high] = axis(curve, first, last);
      const y = (value) => top + TALL * (high - value) / (high - low);
      const colour = "c" + view.curves.indexOf(curve) % 6;
      for (const [value, words] of ticks(low, high, 5)) {
        element("line", { x1: LEFT, x2: width - RIGHT, y1: y(value), y2: y(value), class: "grid" }, plot);
        element("text", { x: LEFT - 6, y: y(value) + 4, class: "end" }, plot, words);
      }
      element("text", { x: LEFT, y: top - 6, class: "name" }, plot, `${curve.title}${curve.unit === "1" ? "" : " in " + curve.unit}`);
      const body = element("g", { "clip-path": "url(#inside)" }, plot);
      element("path", { d: envelope(curve, first, last, y), class: "span " + colour }, body);
      element("path", { d: line(curve, first, last, y), class: "curve " + colour }, body);
      for (const limit of view.limits) {
        if (limit.of !== curve.key || limit.value < low || limit.value > high) continue;
        element("line", { x1: LEFT, x2: width - RIGHT, y1: y(limit.value), y2: y(limit.value), class: "limit" }, plot);
        element("text", { x: width - RIGHT - 4, y: y(limit.value) + (limit.side === "below" ? -4 : 13), class: "end bad" }, plot, limit.words);
      }
      view.events.forEach(([t], k) => {
        element("line", { x1: x(t), x2: x(t), y1: top, y2: top + TALL, class: "event" }, body);
        if (n === 0 && t >= from && t <= to) element("text", { x: x(t) + 3, y: top + 11, class: "name" }, plot, String(k + 1));
      });
      if (mark !== null) element("line", { x1: x(view.t[mark]), x2: x(view.t[mark]), y1: top, y2: top + TALL, class: "mark" }, body);
      element("line", { x1: x(view.t[at]), x2: x(view.t[at]), y1: top, y2: top + TALL, class: "cursor" }, body);
    });
    const bottom = TOP + curves.length * (TALL + GAP) - GAP;
    for (const [value, words] of ticks(from * scale, to * scale, Math.max(3, Math.floor(width / 110)))) {
      element("line", { x1: x(value / scale), x2: x(value / scale), y1: bottom, y2: bottom + 5, class: "event" }, plot);
      element("text", { x: x(value / scale), y: bottom + 18, class: "middle" }, plot, words);
    }
    element("text", { x: width - RIGHT, y: bottom + 34, class: "end" }, plot, `time after the event in ${unit}`);
    if (drag && drag.moved) {
      const [a, b] = [Math.min(drag.from, drag.to), Math.max(drag.from, drag.to)];
      element("rect", { x: a, y: 0, width: b - a, height: bottom, class: "chosen" }, plot);
    }
    tell();
  };
  const tell = () => {
    readout.replaceChildren();
    const head = element("tr", {}, element("thead", {}, readout));
    const away = mark === null ? [] : ["from the mark"];
    for (const words of ["at the cursor", "mean of the period", "least \u2026 greatest", ...away]) element("th", { scope: "col" }, head, words);
    const body = element("tbody", {}, readout);
    const row = (name, cells) => {
      const made = element("tr", {}, body);
      element("th", { scope: "row" }, made, name);
      for (const words of cells) element("td", {}, made, words);
    };
    row("time", [shown(view.t[at], "s"), "", ...(mark === null ? [] : [shown(view.t[at] - view.t[mark], "s")])]);
    for (const c of view.curves)
      row(c.title, [shown(c.mean[at], c.unit), `${shown(c.low[at], c.unit)} \u2026 ${shown(c.high[at], c.unit)}`,
        ...(mark === null ? [] : [shown(c.mean[at] - c.mean[mark], c.unit)])]);
  };

  const whole = () => { [from, to] = [view.t[0], view.t[view.t.length - 1]]; };
  const choose = (a, b) => {
    const least = LEAST * (view.t[view.t.length - 1] - view.t[0]) / view.t.length;
    if (b - a < least) [a, b] = [(a + b - least) / 2, (a + b + least) / 2];
    from = Math.max(a, view.t[0]);
    to = Math.min(b, view.t[view.t.length - 1]);
  };
  const zoom = (factor, around) => choose(around + (from - around) * factor, around + (to - around) * factor);
  const move = (by) => {
    at = Math.min(Math.max(at + by, 0), view.t.length - 1);
    const t = view.t[at], half = (to - from) / 2;
    if (t < from || t > to) choose(t - half, t + half);
  };
  const show = (key) => {
    view = views.find((v) => v.key === key) || views[0];
    mark = null;
    drag = null;
    hidden.clear();
    for (const c of view.curves) if (!c.drawn) hidden.add(c.key);
    at = nearest(0);
    whole();
    note.textContent = view.note;
    boxes.replaceChildren();
    for (const c of view.curves) {
      const label = element("label", {}, boxes), box = element("input", { type: "checkbox" }, label);
      box.checked = !hidden.has(c.key);
      box.addEventListener("change", () => {
        if (box.checked) hidden.delete(c.key); else hidden.add(c.key);
        draw();
      });
      label.append(" " + c.title);
    }
    plot.setAttribute("aria-label", `${view.title}. ${view.note}`);
    draw();
  };

  const px = (event) => event.clientX - plot.getBoundingClientRect().left;
  plot.addEventListener("pointerdown", (event) => {
    drag = { from: px(event), to: px(event), moved: false };
    plot.setPointerCapture(event.pointerId);
  });
  plot.addEventListener("pointermove", (event) => {
    if (drag) { drag.to = px(event); drag.moved = drag.moved || Math.abs(drag.to - drag.from) > 4; }
    at = nearest(time(px(event)));
    draw();
  });
  plot.addEventListener("pointerup", () => {
    if (drag && drag.moved) choose(time(Math.min(drag.from, drag.to)), time(Math.max(drag.from, drag.to)));
    drag = null;
    draw();
  });
  plot.addEventListener("pointercancel", () => { drag = null; draw(); });
  plot.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && !event.shiftKey) return; // the page scrolls
    event.preventDefault();
    zoom(event.deltaY > 0 || event.deltaX > 0 ? 1.25 : 0.8, time(px(event)));
    draw();
  }, { passive: false });
  const acts = {
    ArrowLeft: (event) => move(event.shiftKey ? -10 : -1), ArrowRight: (event) => move(event.shiftKey ? 10 : 1),
    Home: () => move(-view.t.length), End: () => move(view.t.length),
    "+": () => zoom(0.5, view.t[at]), "-": () => zoom(2, view.t[at]), 0: whole,
    m: () => { mark = mark === at ? null : at; },
  };
  plot.addEventListener("keydown", (event) => {
    const act = event.ctrlKey || event.metaKey || event.altKey ? undefined : acts[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (!act) return;
    event.preventDefault();
    act(event);
    draw();
  });
  for (const [id, key] of [["in", "+"], ["out", "-"], ["all", "0"], ["set", "m"]])
    by(id).addEventListener("click", () => { acts[key](); draw(); });
  for (const v of views) element("option", { value: v.key }, chooser, v.title);
  chooser.addEventListener("change", () => { history.replaceState(null, "", "#" + chooser.value); show(chooser.value); });
  window.addEventListener("resize", draw);
  chooser.value = views.some((v) => "#" + v.key === location.hash) ? location.hash.slice(1) : views[0].key;
  show(chooser.value);
})();
