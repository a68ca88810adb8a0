// Charts to read: a crosshair that says every curve's value with its interval,
// zoom by pointer, keyboard or button. The drawing that came with the page stays
// for print and where there is no script. Words and numbers come from the server.
import uPlot from "../vendor/uplot/uPlot.esm.js";
import { bars, ground, lines, marks, peaks, uprights, zeroLine } from "./marks.js";
import { css, element, faded, plainNumbers } from "./paint.js";

const dashes = { dashed: [7, 4], limits: [2, 3] };

export function drawCharts(root) {
  for (const figure of root.querySelectorAll("figure.chart[data-src]")) {
    if (figure.querySelector(".plot")) continue;
    load(figure.dataset.src, figure).catch(() => {}); // the drawing stays
  }
}

async function load(address, figure) {
  const answer = await fetch(address, { headers: { Accept: "application/json" } });
  if (!answer.ok) throw new Error("the server answers " + answer.status);
  const chart = await answer.json();
  if (chart.format !== "fairpull.chart/1" || chart.x.values.length < 2 || !figure.isConnected) return;
  mount(figure, chart);
}

// mount puts one plot for each panel into the figure, below them what the
// crosshair reads.
function mount(figure, chart) {
  const plot = element("div", "plot");
  plot.tabIndex = 0;
  plot.setAttribute("role", "group");
  const drawing = figure.querySelector("svg title");
  plot.setAttribute("aria-label", (drawing ? drawing.textContent : "Chart") + ". Arrow keys move the crosshair, plus and minus zoom, 0 shows the whole range.");
  const sync = uPlot.sync(figure.id);
  const read = element("p", "plot-read");
  const plots = [];
  const state = { at: null, chart, plots, read };
  for (const panel of chart.panels) {
    const title = element("p", "plot-title");
    title.textContent = panel.title;
    plot.append(title, key(panel));
    const place = element("div", "plot-panel");
    plot.append(place);
    plots.push(new uPlot(options(panel, chart, sync.key, state), data(panel, chart), place));
  }
  read.id = figure.id + "-read";
  read.setAttribute("role", "status");
  read.textContent = "Point at the chart to read it.";
  plot.append(read, buttons(state));
  const observer = new ResizeObserver(() => fit(plot, plots));
  observer.observe(plot);
  const scheme = window.matchMedia("(prefers-color-scheme: dark)");
  const redraw = () => plots.forEach((p) => p.redraw());
  scheme.addEventListener("change", redraw);
  plot.addEventListener("keydown", (event) => keyboard(event, state));
  plot.addEventListener("leave", () => {
    observer.disconnect();
    scheme.removeEventListener("change", redraw);
    plots.forEach((p) => p.destroy());
  });
  figure.querySelector(".scroll").after(plot);
  figure.classList.add("has-plot");
  fit(plot, plots);
}

// key explains the marks of a panel: colour, form and words.
function key(panel) {
  const list = element("ul", "plot-key");
  for (const k of panel.key) {
    const item = document.createElement("li");
    item.append(element("span", "mark mark-" + k.kind + " paint-" + k.paint), k.words);
    list.append(item);
  }
  return list;
}

// data are the columns of a panel: for each series its limits, where it has them as a
// ribbon, and its values.
function data(panel, chart) {
  const out = [chart.x.values];
  for (const s of panel.series) {
    if (ribbon(s)) out.push(s.high, s.low);
    if (s.inner) out.push(s.inner[1], s.inner[0]);
    out.push(s.values);
  }
  return out;
}

const ribbon = (s) => s.low && !s.bars;

function options(panel, chart, syncKey, state) {
  const series = [{}];
  const bands = [];
  const marked = []; // which series have marks of their own
  for (const s of panel.series) {
    const limit = { stroke: "transparent", width: 0, points: { show: false } };
    if (ribbon(s)) {
      bands.push({ series: [series.length, series.length + 1], fill: () => faded(css(s.paint), 0.2) });
      series.push({ ...limit }, { ...limit });
    }
    if (s.inner) {
      const inner = { stroke: () => css(s.paint), width: 1, dash: dashes.limits, points: { show: false } };
      series.push({ ...inner }, { ...inner });
    }
    marked[series.length] = s.marks;
    const dash = s.dashed ? dashes.dashed : s.dotted ? dashes.limits : [];
    series.push(s.no_line ? { ...limit } : { stroke: () => css(s.paint), width: s.marks ? 1.4 : 2.2, dash, points: { show: false } });
  }
  return {
    width: 600, height: 260, pxAlign: 0, series, bands, legend: { show: false }, padding: chart.x.ticks ? [null, 30, null, null] : undefined,
    scales: { x: { time: false, range: (u, min, max) => seen(chart.x, min, max) }, y: { range: [panel.low, panel.high] } },
    axes: axes(panel, chart),
    cursor: { sync: { key: syncKey }, drag: { x: true, y: false }, points: { size: (u, i) => (marked[i] ? 0 : 7) }, focus: { prox: -1 } },
    hooks: {
      drawClear: [(u) => ground(u, chart.band), (u) => lines(u, panel), (u) => uprights(u, chart)],
      draw: [(u) => panel.zero && zeroLine(u), (u) => bars(u, panel, chart), (u) => marks(u, panel, chart), (u) => peaks(u, panel)],
      setCursor: [(u) => tell(u, state)],
    },
  };
}

// ends are those of the axis.
function ends(x) {
  return x.ends ?? [x.values[0], x.values[x.values.length - 1]];
}

// seen is what the axis shows: where it holds every node, up to its ends.
function seen(x, min, max) {
  return min <= x.values[0] && max >= x.values[x.values.length - 1] ? ends(x) : [min, max];
}

function axes(panel, chart) {
  const axis = { stroke: () => css("muted"), grid: { stroke: () => css("grid"), width: 1 }, ticks: { stroke: () => css("frame"), width: 1 }, font: "13px system-ui, sans-serif" };
  const last = panel === chart.panels[chart.panels.length - 1];
  const { x } = chart;
  const name = x.unit ? x.name + ", " + x.unit : x.name;
  const along = { ...axis, values: plainNumbers, ...(last ? { size: 44, label: name, labelSize: 22, labelFont: axis.font } : { size: 34 }) };
  if (x.ticks) {
    along.splits = (u, i, min, max) => nodesWithRoom(u, x, min, max);
    along.values = (u, places) => places.map((v) => x.ticks[x.values.indexOf(v)]);
  }
  return [along, { ...axis, values: plainNumbers, size: 56 }];
}

// nodesWithRoom are the nodes whose words fit side by side on the axis.
function nodesWithRoom(u, x, min, max) {
  const per = u.bbox.width / window.devicePixelRatio / (max - min);
  const out = [];
  let free = -Infinity;
  x.values.forEach((v, i) => {
    const half = 4 * x.ticks[i].length + 6;
    const at = (v - min) * per;
    if (v < min || v > max || at - half < free) return;
    out.push(v);
    free = at + half;
  });
  return out;
}

// tell writes what all panels have at the crosshair.
function tell(u, state) {
  const at = u.cursor.idx;
  if (at === null || at === undefined || at === state.at) return;
  state.at = at;
  const { chart } = state;
  const parts = [chart.x.words ? chart.x.words[at] : chart.x.values[at] + " " + chart.x.unit];
  for (const panel of chart.panels) {
    for (const s of panel.series) if (s.read[at]) parts.push(s.name + ": " + s.read[at]);
  }
  state.read.textContent = parts.join(" · ");
}

// point moves the crosshair of every panel to a node, and what is seen with it.
function point(state, at) {
  const { chart, plots } = state;
  const clamped = Math.max(0, Math.min(chart.x.values.length - 1, at));
  const x = chart.x.values[clamped];
  const { min, max } = plots[0].scales.x;
  if (x < min || x > max) {
    const [first, last] = ends(chart.x);
    const from = Math.max(first, Math.min(last - max + min, x - (max - min) * (x < min ? 0.1 : 0.9)));
    plots.forEach((u) => u.setScale("x", { min: from, max: from + max - min }));
  }
  state.at = null;
  for (const u of plots) {
    u.setCursor({ left: u.valToPos(x, "x"), top: u.over.clientHeight / 2 }, false);
    u.cursor.idx = clamped;
    tell(u, state);
    state.at = null;
  }
  state.at = clamped;
}

// zoom narrows or widens what is seen about its middle, or the crosshair.
function zoom(state, factor) {
  const { chart, plots } = state;
  const xs = chart.x.values;
  const [first, last] = ends(chart.x);
  let { min, max } = plots[0].scales.x;
  const about = state.at !== null && xs[state.at] > min && xs[state.at] < max ? xs[state.at] : (min + max) / 2;
  min = Math.max(first, about - (about - min) * factor);
  max = Math.min(last, about + (max - about) * factor);
  if (max - min < (last - first) / 25) return;
  plots.forEach((u) => u.setScale("x", { min, max }));
}

function whole(state) {
  const [min, max] = ends(state.chart.x);
  state.plots.forEach((u) => u.setScale("x", { min, max }));
}

function keyboard(event, state) {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const at = state.at ?? Math.floor(state.chart.x.values.length / 2);
  const step = event.shiftKey ? 10 : 1;
  const actions = {
    ArrowLeft: () => point(state, at - step), ArrowRight: () => point(state, at + step),
    Home: () => point(state, 0), End: () => point(state, state.chart.x.values.length - 1),
    "+": () => zoom(state, 0.5), "=": () => zoom(state, 0.5), "-": () => zoom(state, 2), 0: () => whole(state), Escape: () => whole(state),
  };
  const action = actions[event.key];
  if (!action || event.target !== event.currentTarget) return;
  event.preventDefault();
  action();
}

function buttons(state) {
  const bar = element("div", "plot-buttons");
  for (const [words, action] of [["Zoom in", () => zoom(state, 0.5)], ["Zoom out", () => zoom(state, 2)], ["Whole range", () => whole(state)]]) {
    const b = document.createElement("button");
    b.type = "button";
    b.textContent = words;
    b.addEventListener("click", action);
    bar.append(b);
  }
  return bar;
}

// fit gives every panel the width that there is.
function fit(plot, plots) {
  const width = Math.max(260, Math.floor(plot.clientWidth));
  const height = plots.length > 1 ? 250 : Math.round(Math.min(420, Math.max(260, width * 0.42)));
  for (const u of plots) {
    if (u.width !== width || u.height !== height) u.setSize({ width, height });
  }
}
