// What is painted below and above the curves of a chart: band, straight lines, marks
// with their bars, peaks.
import { css } from "./paint.js";

// painted runs paint with the plot's pen, kept within the panel.
function painted(u, paint) {
  const { left, top, width, height } = u.bbox;
  u.ctx.save();
  u.ctx.beginPath();
  u.ctx.rect(left, top, width, height);
  u.ctx.clip();
  paint(u.ctx, u.bbox, window.devicePixelRatio);
  u.ctx.restore();
}

// ground paints the riding band.
export function ground(u, band) {
  if (band.length !== 2) return;
  painted(u, (ctx, box) => {
    const a = u.valToPos(band[0], "x", true);
    ctx.fillStyle = css("band");
    ctx.fillRect(a, box.top, u.valToPos(band[1], "x", true) - a, box.height);
  });
}

function line(ctx, x0, y0, x1, y1) {
  ctx.beginPath();
  ctx.moveTo(x0, y0);
  ctx.lineTo(x1, y1);
  ctx.stroke();
}

export function zeroLine(u) {
  painted(u, (ctx, box, dpr) => {
    const y = u.valToPos(0, "y", true);
    ctx.strokeStyle = css("ink");
    ctx.lineWidth = 1.4 * dpr;
    line(ctx, box.left, y, box.left + box.width, y);
  });
}

// pen is how straight lines are drawn: limits dashed.
function pen(ctx, dashed, dpr) {
  ctx.strokeStyle = css(dashed ? "frame" : "ink");
  ctx.fillStyle = css("muted");
  ctx.lineWidth = 1.2 * dpr;
  ctx.font = 12 * dpr + "px system-ui, sans-serif";
  ctx.textAlign = "left";
  ctx.textBaseline = "alphabetic";
  ctx.setLineDash(dashed ? [6 * dpr, 4 * dpr] : []);
}

// lines draws a panel's limits across.
export function lines(u, panel) {
  painted(u, (ctx, box, dpr) => {
    for (const l of panel.lines ?? []) {
      pen(ctx, l.dashed, dpr);
      const y = u.valToPos(l.at, "y", true);
      line(ctx, box.left, y, box.left + box.width, y);
      if (l.words) ctx.fillText(l.words, box.left + 5 * dpr, y - 4 * dpr);
    }
  });
}

// uprights draws the lines that go through all panels.
export function uprights(u, chart) {
  painted(u, (ctx, box, dpr) => {
    for (const l of chart.uprights ?? []) {
      pen(ctx, l.dashed, dpr);
      const x = u.valToPos(l.at, "x", true);
      line(ctx, x, box.top, x, box.top + box.height);
      if (l.words) ctx.fillText(l.words, x + 5 * dpr, box.top + box.height - 6 * dpr);
    }
  });
}

// shape puts a square or a disc at a place.
function shape(ctx, kind, x, y, r) {
  ctx.beginPath();
  if (kind === "square") ctx.rect(x - r, y - r, 2 * r, 2 * r);
  else ctx.arc(x, y, r, 0, 2 * Math.PI);
  ctx.fill();
  ctx.stroke();
}

// marks puts a mark on each node of the series that have them; a square has the
// candidate's colour, so that form and colour say the same.
export function marks(u, panel, chart) {
  painted(u, (ctx, box, dpr) => {
    ctx.strokeStyle = css("paper");
    ctx.lineWidth = dpr;
    for (const s of panel.series) {
      (s.marks ?? []).forEach((kind, i) => {
        if (!kind || s.values[i] === null) return;
        ctx.fillStyle = css(kind === "square" ? "candidate" : s.paint);
        shape(ctx, kind, u.valToPos(chart.x.values[i], "x", true), u.valToPos(s.values[i], "y", true), 4.5 * dpr);
      });
    }
  });
}

// bars draws the limits of each node as an upright line.
export function bars(u, panel, chart) {
  painted(u, (ctx, box, dpr) => {
    for (const s of panel.series) {
      if (!s.bars) continue;
      ctx.strokeStyle = css(s.paint);
      ctx.lineWidth = 1.6 * dpr;
      chart.x.values.forEach((v, i) => {
        if (s.low[i] === null || s.high[i] === null) return;
        const x = u.valToPos(v, "x", true);
        line(ctx, x, u.valToPos(s.low[i], "y", true), x, u.valToPos(s.high[i], "y", true));
      });
    }
  });
}

// peaks marks where a curve is highest: a square on a dashed one, else a disc.
export function peaks(u, panel) {
  painted(u, (ctx, box, dpr) => {
    ctx.strokeStyle = css("paper");
    ctx.lineWidth = dpr;
    for (const s of panel.series) {
      if (!s.peak) continue;
      ctx.fillStyle = css(s.paint);
      shape(ctx, s.dashed ? "square" : "disc", u.valToPos(s.peak[0], "x", true), u.valToPos(s.peak[1], "y", true), 4.5 * dpr);
    }
  });
}
