// The channels of a raw log to look into: one panel a channel over one axis, to
// zoom by pointer, keyboard or button. What is seen is fetched anew at each zoom,
// thinned by the server so that no spike is lost.
import uPlot from "../vendor/uplot/uPlot.esm.js";
import { css, element, plainNumbers } from "./paint.js";

export function drawRawLogs(root) {
  for (const source of root.querySelectorAll("template.raw-chart")) {
    const figure = document.getElementById(source.dataset.figure);
    if (!figure || figure.querySelector(".plot")) continue;
    fetchWindow(source.dataset.src, null, figure)
      .then((log) => log.channels.length && mount(figure, source.dataset.src, log))
      .catch(() => {}); // the drawing stays
  }
}

async function fetchWindow(address, span, figure) {
  const url = new URL(address, window.location.href);
  const points = Math.round(2.5 * figure.clientWidth * window.devicePixelRatio);
  url.searchParams.set("points", Math.max(100, Math.min(4000, points)));
  if (span) {
    url.searchParams.set("from", span[0]);
    url.searchParams.set("to", span[1]);
  }
  const answer = await fetch(url, { headers: { Accept: "application/json" } });
  if (!answer.ok) throw new Error("the server answers " + answer.status);
  const log = await answer.json();
  if (log.format !== "fairpull.raw/1") throw new Error("the answer is no log");
  return log;
}

function mount(figure, address, log) {
  const plot = element("div", "plot raw-plot");
  plot.tabIndex = 0;
  plot.setAttribute("role", "group");
  plot.setAttribute("aria-label", "Channels of the log. Arrow keys move along, plus and minus zoom, 0 shows the whole log.");
  const state = { figure, address, log, plots: [], span: [log.first, log.last], at: (log.first + log.last) / 2, timer: 0, asked: 0 };
  const phases = element("p", "plot-key");
  phases.textContent = log.phases.map((p) => p.name + " " + p.from.toFixed(2) + " to " + p.to.toFixed(2)).join(" · ");
  plot.append(phases, buttons(state));
  const key = figure.id + "-raw";
  log.channels.forEach((channel, i) => {
    const title = element("p", "plot-title");
    title.textContent = channel.title;
    const place = element("div", "plot-panel");
    plot.append(title, place);
    state.plots.push(new uPlot(options(state, i, key), [channel.x, channel.y], place));
  });
  state.read = element("p", "plot-read");
  state.read.setAttribute("role", "status");
  state.read.textContent = "Point at a channel to read all of them; drag to zoom.";
  plot.append(state.read);
  const observer = new ResizeObserver(() => fit(state, plot));
  observer.observe(plot);
  const scheme = window.matchMedia("(prefers-color-scheme: dark)");
  const redraw = () => state.plots.forEach((p) => p.redraw());
  scheme.addEventListener("change", redraw);
  plot.addEventListener("keydown", (event) => keyboard(event, state));
  plot.addEventListener("leave", () => {
    window.clearTimeout(state.timer);
    state.asked = -1;
    observer.disconnect();
    scheme.removeEventListener("change", redraw);
    state.plots.forEach((p) => p.destroy());
  });
  figure.querySelector(".scroll").after(plot);
  figure.classList.add("has-plot");
  fit(state, plot);
}

function options(state, i, key) {
  const { log } = state;
  const last = i === log.channels.length - 1;
  const axis = { stroke: () => css("muted"), grid: { stroke: () => css("grid"), width: 1 }, ticks: { stroke: () => css("frame"), width: 1 }, font: "13px system-ui, sans-serif" };
  return {
    width: 600, height: 150, pxAlign: 0, legend: { show: false },
    series: [{}, { stroke: () => css("baseline"), width: 1.3, points: { show: false }, spanGaps: false }],
    scales: { x: { time: false, range: () => state.span }, y: { range: (u, low, high) => room(low, high, i === 0) } },
    axes: [
      { ...axis, values: plainNumbers, ...(last ? { size: 44, label: log.axis, labelSize: 22, labelFont: axis.font } : { size: 26 }) },
      { ...axis, values: plainNumbers, size: 64 },
    ],
    cursor: { sync: { key, setSeries: false }, drag: { x: true, y: false, setScale: false }, points: { size: 6 } },
    hooks: {
      drawClear: [(u) => ground(u, state.log.phases, i === 0)],
      setSelect: [(u) => select(u, state)],
      setCursor: [(u) => tell(u, state)],
    },
  };
}

// select looks at what was dragged over.
function select(u, state) {
  const { left, width } = u.select;
  if (width < 4) return;
  const span = [u.posToVal(left, "x"), u.posToVal(left + width, "x")];
  u.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
  look(state, span);
}

// look shows a stretch of the axis at once with what is there, and then as finely
// as the server has it.
function look(state, span) {
  const { log } = state;
  const least = (log.last - log.first) / 1e6;
  let from = Math.max(log.first, span[0]);
  let to = Math.min(log.last, span[1]);
  if (!(to - from > least)) return;
  state.span = [from, to];
  state.plots.forEach((u) => u.setScale("x", { min: from, max: to }));
  window.clearTimeout(state.timer);
  const asked = ++state.asked;
  state.timer = window.setTimeout(async () => {
    try {
      const fresh = await fetchWindow(state.address, state.span, state.figure);
      if (asked !== state.asked || fresh.channels.length !== state.plots.length) return;
      state.log = fresh;
      fresh.channels.forEach((channel, i) => state.plots[i].setData([channel.x, channel.y]));
      state.figure.dataset.shown = fresh.from + " " + fresh.to;
    } catch (problem) {
      state.read.textContent = "The log could not be fetched: " + problem.message;
    }
  }, 80);
}

// room leaves some space about what a channel has, and on top of the first one as
// much as the names of the phases take.
function room(low, high, named) {
  if (low === null || high === null) return [0, 1];
  const span = high - low || Math.abs(high) * 0.1 || 1;
  return [low - 0.06 * span, high + (named ? 0.3 : 0.06) * span];
}

// ground shades the phases, and names them where asked; settling is left out of the
// figures and stays bare.
function ground(u, phases, named) {
  const { left, top, width, height } = u.bbox;
  u.ctx.save();
  for (const phase of phases) {
    const a = Math.max(left, u.valToPos(phase.from, "x", true));
    const b = Math.min(left + width, u.valToPos(phase.to, "x", true));
    if (b <= a) continue;
    if (phase.name !== "settling") {
      u.ctx.fillStyle = css("band");
      u.ctx.fillRect(a, top, b - a, height);
    }
    u.ctx.strokeStyle = css("frame");
    u.ctx.setLineDash([6, 4]);
    for (const x of [a, b]) {
      if (x <= left || x >= left + width) continue;
      u.ctx.beginPath();
      u.ctx.moveTo(x, top);
      u.ctx.lineTo(x, top + height);
      u.ctx.stroke();
    }
    u.ctx.setLineDash([]);
    u.ctx.font = 12 * window.devicePixelRatio + "px system-ui, sans-serif";
    u.ctx.textAlign = "left";
    u.ctx.textBaseline = "alphabetic";
    if (named && b - a > u.ctx.measureText(phase.name).width + 8) {
      u.ctx.fillStyle = css("muted");
      u.ctx.fillText(phase.name, a + 4, top + 14 * window.devicePixelRatio);
    }
  }
  u.ctx.restore();
}

// tell writes what every channel has at the crosshair.
function tell(u, state) {
  if (u.cursor.left === null || u.cursor.left < 0 || !state.read) return;
  read(state, u.posToVal(u.cursor.left, "x"));
}

function read(state, x) {
  state.at = x;
  const { log } = state;
  const parts = [x.toPrecision(6) + " " + log.axis.split(", ").pop()];
  for (const channel of log.channels) {
    const v = channel.y[nearest(channel.x, x)];
    parts.push(channel.title.split(", ")[0] + " " + (v === null || v === undefined ? "–" : String(Number(v.toPrecision(5))).replace("-", "\u2212")) + " " + channel.unit);
  }
  state.read.textContent = parts.join(" · ");
}

// nearest is the place in increasing xs that lies nearest to x.
function nearest(xs, x) {
  let lo = 0;
  let hi = xs.length - 1;
  while (hi - lo > 1) {
    const middle = (lo + hi) >> 1;
    if (xs[middle] <= x) lo = middle;
    else hi = middle;
  }
  return hi >= 0 && Math.abs(xs[hi] - x) < Math.abs(xs[lo] - x) ? hi : lo;
}

function zoom(state, factor) {
  const [from, to] = state.span;
  const about = state.at > from && state.at < to ? state.at : (from + to) / 2;
  look(state, [about - (about - from) * factor, about + (to - about) * factor]);
}

function move(state, share) {
  const [from, to] = state.span;
  const step = (to - from) * share;
  const bounded = step < 0 ? Math.max(step, state.log.first - from) : Math.min(step, state.log.last - to);
  if (bounded !== 0) look(state, [from + bounded, to + bounded]);
}

function whole(state) {
  look(state, [state.log.first, state.log.last]);
}

function keyboard(event, state) {
  if (event.ctrlKey || event.metaKey || event.altKey || event.target !== event.currentTarget) return;
  const step = () => (state.span[1] - state.span[0]) * (event.shiftKey ? 0.1 : 0.01);
  const point = (x) => {
    read(state, Math.max(state.log.first, Math.min(state.log.last, x)));
    if (state.at < state.span[0]) move(state, -0.5);
    if (state.at > state.span[1]) move(state, 0.5);
    state.plots.forEach((u) => u.setCursor({ left: u.valToPos(state.at, "x"), top: u.over.clientHeight / 2 }, false));
  };
  const actions = {
    ArrowLeft: () => point(state.at - step()), ArrowRight: () => point(state.at + step()),
    PageUp: () => move(state, -0.8), PageDown: () => move(state, 0.8),
    "+": () => zoom(state, 0.5), "=": () => zoom(state, 0.5), "-": () => zoom(state, 2), 0: () => whole(state), Escape: () => whole(state),
  };
  const action = actions[event.key];
  if (!action) return;
  event.preventDefault();
  action();
}

function buttons(state) {
  const bar = element("div", "plot-buttons");
  for (const [words, action] of [["Zoom in", () => zoom(state, 0.5)], ["Zoom out", () => zoom(state, 2)], ["Earlier", () => move(state, -0.8)], ["Later", () => move(state, 0.8)], ["Whole log", () => whole(state)]]) {
    const b = document.createElement("button");
    b.type = "button";
    b.textContent = words;
    b.addEventListener("click", action);
    bar.append(b);
  }
  return bar;
}

function fit(state, plot) {
  const width = Math.max(260, Math.floor(plot.clientWidth));
  const n = state.plots.length;
  state.plots.forEach((u, i) => {
    const height = (n > 6 ? 110 : 150) + (i === n - 1 ? 24 : 0);
    if (u.width !== width || u.height !== height) u.setSize({ width, height });
  });
}
