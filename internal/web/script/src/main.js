// What a page gets on top of its own content where script runs: charts to read
// with a crosshair, and news as they come.
import { drawCharts } from "./charts.js";
import { sendOnce } from "./forms.js";
import { follow } from "./live.js";
import { drawRawLogs } from "./raw.js";

function draw() {
  drawCharts(document);
  drawRawLogs(document);
}

sendOnce();
draw();
follow(draw);
