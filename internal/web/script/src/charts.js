// Charts to read: a crosshair that says every curve's value with its interval,
// zoom by pointer, keyboard or button. The drawing that came with the page stays
// for print and where there is no script. Words and numbers come from the server.
import uPlot from "../vendor/uplot/uPlot.esm.js";

const dashes = { dashed: [7, 4], limits: [2, 3] };

export function drawCharts(root) {
  for (const source of root.querySelectorAll("template.chart")) {
    const figure = document.getElementById(source.dataset.figure);
    if (!figure || figure.querySelector(".plot")) continue;
    load(source.dataset.src, figure).catch(() => {}); // the drawing stays
  }
}

async function load(address, figure) {
  const answer = await fetch(address, { headers: { Accept: "application/json" } });
  if (!answer.ok) throw new Error("the server answers " + answer.status);
  const chart = await answer.json();
  if (chart.format !== "fairpull.chart/1" || chart.x.values.length < 2) return;
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

function element(name, className) {
  const e = document.createElement(name);
  e.className = className;
  return e;
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

function data(panel, chart) {
  const out = [chart.x.values];
  for (const s of panel.series) {
    out.push(s.high, s.low);
    if (s.inner) out.push(s.inner[1], s.inner[0]);
    out.push(s.values);
  }
  return out;
}

const css = (name) => getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();

function options(panel, chart, syncKey, state) {
  const series = [{}];
  const bands = [];
  for (const s of panel.series) {
    const limit = { stroke: "transparent", width: 0, points: { show: false } };
    bands.push({ series: [series.length, series.length + 1], fill: () => faded(css(s.paint), 0.2) });
    series.push({ ...limit }, { ...limit });
    if (s.inner) {
      const inner = { stroke: () => css(s.paint), width: 1, dash: dashes.limits, points: { show: false } };
      series.push({ ...inner }, { ...inner });
    }
    series.push({ stroke: () => css(s.paint), width: 2.2, dash: s.dashed ? dashes.dashed : [], points: { show: false } });
  }
  const last = panel === chart.panels[chart.panels.length - 1];
  const axis = { stroke: () => css("muted"), grid: { stroke: () => css("grid"), width: 1 }, ticks: { stroke: () => css("frame"), width: 1 }, font: "13px system-ui, sans-serif" };
  return {
    width: 600, height: 260, pxAlign: 0, series, bands, legend: { show: false },
    scales: { x: { time: false }, y: { range: [panel.low, panel.high] } },
    axes: [
      { ...axis, values: plainNumbers, ...(last ? { size: 44, label: chart.x.name + ", " + chart.x.unit, labelSize: 22, labelFont: axis.font } : { size: 34 }) },
      { ...axis, values: plainNumbers, size: 56 },
    ],
    cursor: { sync: { key: syncKey }, drag: { x: true, y: false }, points: { size: 7 }, focus: { prox: -1 } },
    hooks: {
      drawClear: [(u) => ground(u, chart.band)],
      draw: [(u) => panel.zero && zeroLine(u), (u) => peaks(u, panel)],
      setCursor: [(u) => tell(u, state)],
    },
  };
}

// plainNumbers writes ticks as the drawings do: without a mark at the thousands.
function plainNumbers(u, ticks) {
  return ticks.map((v) => String(v).replace("-", "\u2212"));
}

// peaks marks where a curve is highest: a square on a dashed one, else a disc.
function peaks(u, panel) {
  const r = 4.5 * window.devicePixelRatio;
  for (const s of panel.series) {
    if (!s.peak) continue;
    const x = u.valToPos(s.peak[0], "x", true);
    const y = u.valToPos(s.peak[1], "y", true);
    if (x < u.bbox.left || x > u.bbox.left + u.bbox.width) continue;
    u.ctx.save();
    u.ctx.fillStyle = css(s.paint);
    u.ctx.strokeStyle = css("paper");
    u.ctx.lineWidth = window.devicePixelRatio;
    u.ctx.beginPath();
    if (s.dashed) u.ctx.rect(x - r, y - r, 2 * r, 2 * r);
    else u.ctx.arc(x, y, r, 0, 2 * Math.PI);
    u.ctx.fill();
    u.ctx.stroke();
    u.ctx.restore();
  }
}

// faded is a colour of the style sheet at an opacity.
function faded(hex, alpha) {
  return hex + Math.round(alpha * 255).toString(16).padStart(2, "0");
}

// ground paints the riding band below the curves.
function ground(u, band) {
  if (band.length !== 2) return;
  const { left, top, width, height } = u.bbox;
  const a = Math.max(left, u.valToPos(band[0], "x", true));
  const b = Math.min(left + width, u.valToPos(band[1], "x", true));
  if (b <= a) return;
  u.ctx.save();
  u.ctx.fillStyle = css("band");
  u.ctx.fillRect(a, top, b - a, height);
  u.ctx.restore();
}

function zeroLine(u) {
  const { left, top, width, height } = u.bbox;
  const y = u.valToPos(0, "y", true);
  if (y < top || y > top + height) return;
  u.ctx.save();
  u.ctx.strokeStyle = css("ink");
  u.ctx.lineWidth = 1.4 * window.devicePixelRatio;
  u.ctx.beginPath();
  u.ctx.moveTo(left, y);
  u.ctx.lineTo(left + width, y);
  u.ctx.stroke();
  u.ctx.restore();
}

// tell writes what all panels have at the crosshair.
function tell(u, state) {
  const at = u.cursor.idx;
  if (at === null || at === undefined || at === state.at) return;
  state.at = at;
  const { chart } = state;
  const lines = [chart.x.values[at] + " " + chart.x.unit];
  for (const panel of chart.panels) {
    for (const s of panel.series) lines.push(s.name + " " + s.read[at]);
  }
  state.read.textContent = lines.join(" · ");
}

// point moves the crosshair of every panel to a node.
function point(state, at) {
  const { chart, plots } = state;
  const clamped = Math.max(0, Math.min(chart.x.values.length - 1, at));
  state.at = null;
  for (const u of plots) {
    const left = u.valToPos(chart.x.values[clamped], "x");
    u.setCursor({ left, top: u.over.clientHeight / 2 }, false);
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
  const [first, last] = [xs[0], xs[xs.length - 1]];
  let { min, max } = plots[0].scales.x;
  const about = state.at !== null && xs[state.at] > min && xs[state.at] < max ? xs[state.at] : (min + max) / 2;
  min = Math.max(first, about - (about - min) * factor);
  max = Math.min(last, about + (max - about) * factor);
  if (factor === Infinity || max - min >= last - first) [min, max] = [first, last];
  if (max - min < 4 * (xs[1] - xs[0])) return;
  plots.forEach((u) => u.setScale("x", { min, max }));
}

function whole(state) {
  const xs = state.chart.x.values;
  state.plots.forEach((u) => u.setScale("x", { min: xs[0], max: xs[xs.length - 1] }));
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
