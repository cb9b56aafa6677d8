// Cycle-time charts: the library is loaded only when a chart comes near the window; without it the table stays open.
const CONFIG = {
  responsive: true,
  displaylogo: false,
  plotlyServerURL: "",
  modeBarButtonsToRemove: ["sendChartToCloud", "select2d", "lasso2d"],
};
let library;

function load(address) {
  library ??= new Promise((resolve, reject) => {
    const script = document.createElement("script");
    script.src = address;
    script.onload = () => (window.Plotly ? resolve(window.Plotly) : reject(new Error("no library")));
    script.onerror = () => reject(new Error("not loaded"));
    document.head.append(script);
  });
  return library;
}

function colour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}

async function ask(chart, from, to) {
  const address = new URL(chart.dataset.series, location.href);
  address.searchParams.set("buckets", String(Math.min(4000, Math.max(50, chart.clientWidth || 600))));
  if (from) address.searchParams.set("from", from);
  if (to) address.searchParams.set("to", to);
  const answer = await fetch(address);
  if (!answer.ok) throw new Error(`answer ${answer.status}`);
  return answer.json();
}

function layout(series) {
  const level = (y, dash, shade) => ({
    type: "line", xref: "paper", x0: 0, x1: 1, y0: y, y1: y, line: { color: shade, width: 1, dash },
  });
  const shapes = [];
  if (series.centre_s !== null) shapes.push(level(series.centre_s, "solid", colour("--soft")));
  for (const y of [series.lcl_s, series.ucl_s]) {
    if (y !== null) shapes.push(level(y, "dash", colour("--blue")));
  }
  const axis = { gridcolor: colour("--rule"), linecolor: colour("--rule"), zeroline: false };
  return {
    margin: { l: 56, r: 16, t: 32, b: 36 },
    paper_bgcolor: colour("--sheet"),
    plot_bgcolor: colour("--sheet"),
    font: { color: colour("--ink"), size: 13 },
    showlegend: false,
    xaxis: { ...axis, type: "date" },
    yaxis: { ...axis, title: { text: "cycle time in s" }, fixedrange: true },
    shapes,
  };
}

function plantTime(seconds, like) {
  // Plotly shows dates as they are written; so they are written in the plant's offset, not in the viewer's.
  const offset = /([+-])(\d\d):(\d\d)$/.exec(like);
  const ahead = offset ? (offset[1] === "-" ? -1 : 1) * (offset[2] * 60 + Number(offset[3])) : 0;
  return new Date((seconds + ahead * 60) * 1000).toISOString().slice(0, 23);
}

function withOffset(text, like) {
  const clean = text.replace(" ", "T").slice(0, 23);
  const padded = clean.length === 10 ? `${clean}T00:00:00` : clean.length === 16 ? `${clean}:00` : clean;
  return padded + (/([+-]\d\d:\d\d)$/.exec(like)?.[1] ?? "Z");
}

function columns(series) {
  return { x: series.t_s.map((t) => plantTime(t, series.from)), y: series.y_s };
}

async function draw(chart) {
  const note = chart.nextElementSibling;
  const table = note.nextElementSibling;
  try {
    if (!chart.dataset.lib) throw new Error("not installed");
    chart.hidden = false;
    const [plotly, series] = await Promise.all([load(chart.dataset.lib), ask(chart)]);
    const trace = { ...columns(series), type: "scatter", mode: "lines+markers", line: { width: 1, color: colour("--green") },
      marker: { size: 4, color: colour("--green") }, hovertemplate: "%{x|%H:%M:%S}<br>%{y:.1f} s<extra></extra>" };
    await plotly.newPlot(chart, [trace], layout(series), CONFIG);
    chart.setAttribute("role", "group");
    chart.setAttribute("aria-label", chart.dataset.label);
    note.hidden = false;
    note.textContent = series.ucl_s === null
      ? "Line: mean, the centre line."
      : `Line: mean ${series.centre_s.toFixed(1)} s, the centre line. Dashed: limits of single cycles around it, ${series.lcl_s.toFixed(1)} to ${series.ucl_s.toFixed(1)} s.`;
    table.open = false;
    follow(plotly, chart, series);
  } catch {
    chart.hidden = true;
    note.hidden = false;
    note.textContent = "The chart could not be loaded; the table tells the same.";
    table.open = true;
  }
}

function follow(plotly, chart, series) {
  chart.on("plotly_relayout", async (change) => {
    const whole = change["xaxis.autorange"];
    const from = change["xaxis.range[0]"] ?? change["xaxis.range"]?.[0];
    const to = change["xaxis.range[1]"] ?? change["xaxis.range"]?.[1];
    if (!whole && !from) return;
    const edges = whole ? [] : [withOffset(from, series.from), withOffset(to, series.from)];
    try {
      const { x, y } = columns(await ask(chart, ...edges));
      await plotly.restyle(chart, { x: [x], y: [y] });
    } catch {
      // what was drawn before stays; the next change asks again
    }
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    plotly.relayout(chart, layout(series));
    plotly.restyle(chart, { "line.color": colour("--green"), "marker.color": colour("--green") });
  });
}

const near = new IntersectionObserver((entries) => {
  for (const entry of entries) {
    if (!entry.isIntersecting) continue;
    near.unobserve(entry.target);
    draw(entry.target.previousElementSibling.previousElementSibling);
  }
}, { rootMargin: "400px" });
// The table is watched, for a hidden chart has no place.
for (const chart of document.querySelectorAll(".chart")) near.observe(chart.nextElementSibling.nextElementSibling);
