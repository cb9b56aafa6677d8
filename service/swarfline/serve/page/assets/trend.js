// Cycle-time charts: the library is loaded only when a chart comes near the window; without it the table stays open.
const CONFIG = {
  responsive: true,
  displaylogo: false,
  plotlyServerURL: "",
  modeBarButtonsToRemove: ["sendChartToCloud", "select2d", "lasso2d"],
};
// What a chart says unless its page says it in the reader's language (data-words); figures stand where {} is.
const WORDS = {
  axis: "cycle time in s",
  mean: "Line: mean {} s, the centre line.",
  limits: "Dashed: limits of single cycles around it, {} to {} s.",
  planned: "Dotted: planned, {} s.",
  marks: "Upright: steps in level.",
  open: "A point opens its cycle.",
  failed: "The chart could not be loaded; the table tells the same.",
};
// Days and months of a language by its rules in the browser; the order of a date is not among what it tells.
const DATES = { de: { dayMonth: "%-d. %b", dayMonthYear: "%-d. %b %Y" } };
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

// The library speaks English, and writes figures and dates so, unless it is told otherwise.
function speak(plotly, told) {
  const language = document.documentElement.lang;
  if (language === "en" || CONFIG.locale) return;
  const names = (count, step, shape) => {
    const form = new Intl.DateTimeFormat(language, { ...shape, timeZone: "UTC" });
    return Array.from({ length: count }, (_, n) => form.format(step(n)));
  };
  // 1 January 2023 was a Sunday
  const days = (shape) => names(7, (n) => Date.UTC(2023, 0, 1 + n), { weekday: shape });
  const months = (shape) => names(12, (n) => Date.UTC(2023, n, 1), { month: shape });
  const decimal = (1.5).toLocaleString(language).replace(/\d/g, "");
  plotly.register({
    moduleType: "locale",
    name: language,
    dictionary: told.library ?? {},
    format: {
      days: days("long"), shortDays: days("short"), months: months("long"), shortMonths: months("short"),
      date: "%Y-%m-%d", time: "%H:%M:%S", decimal, thousands: "\u202f", grouping: [3],
      year: "%Y", month: "%b %Y", dayMonth: "%-d %b", dayMonthYear: "%-d %b %Y", ...DATES[language],
    },
  });
  CONFIG.locale = language;
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

function words(chart) {
  return { ...WORDS, ...JSON.parse(chart.dataset.words ?? "{}") };
}

function figure(value) {
  return value.toLocaleString(document.documentElement.lang, { minimumFractionDigits: 1, maximumFractionDigits: 1 });
}

function say(text, ...values) {
  return values.reduce((told, value) => told.replace("{}", figure(value)), text);
}

function note(chart, series) {
  const told = words(chart);
  const newest = levels(chart).at(-1) ?? series;
  const parts = [say(told.mean, newest.centre_s)];
  if (newest.ucl_s !== null) parts.push(say(told.limits, newest.lcl_s, newest.ucl_s));
  if (chart.dataset.planned) parts.push(say(told.planned, Number(chart.dataset.planned)));
  if (marks(chart).length) parts.push(told.marks);
  if (chart.dataset.open) parts.push(told.open);
  return parts.join(" ");
}

// Steps in level: {at_s, since_s, until_s: Unix seconds, before_s, after_s: levels, text}.
function marks(chart) {
  return JSON.parse(chart.dataset.marks ?? "[]");
}

// Levels with their own limits: {since_s, until_s: Unix seconds, centre_s, lcl_s, ucl_s}; in place of those of all.
function levels(chart) {
  return JSON.parse(chart.dataset.levels ?? "[]");
}

function step(mark, like) {
  const [since, at, until] = [mark.since_s, mark.at_s, mark.until_s].map((t) => plantTime(t, like));
  const line = { color: colour("--ink"), width: 2 };
  const level = (x0, x1, y) => ({ type: "line", x0, x1, y0: y, y1: y, line });
  return [
    { type: "line", x0: at, x1: at, yref: "paper", y0: 0, y1: 1, line: { ...line, width: 1.5, dash: "dashdot" } },
    level(since, at, mark.before_s),
    level(at, until, mark.after_s),
  ];
}

function limits(level, like) {
  const [x0, x1] = level.since_s === undefined ? [0, 1] : [level.since_s, level.until_s].map((t) => plantTime(t, like));
  const xref = level.since_s === undefined ? "paper" : "x";
  return [[level.centre_s, "solid", "--soft"], [level.lcl_s, "dash", "--blue"], [level.ucl_s, "dash", "--blue"]]
    .filter(([y]) => y !== null)
    .map(([y, dash, shade]) => ({ type: "line", xref, x0, x1, y0: y, y1: y, line: { color: colour(shade), width: 1, dash } }));
}

function layout(chart, series) {
  const level = (y, dash, shade) => ({
    type: "line", xref: "paper", x0: 0, x1: 1, y0: y, y1: y, line: { color: shade, width: 1, dash },
  });
  const own = levels(chart);
  const shapes = (own.length ? own : [series]).flatMap((one) => limits(one, series.from));
  if (chart.dataset.planned) shapes.push(level(Number(chart.dataset.planned), "dot", colour("--ink")));
  const found = marks(chart);
  shapes.push(...found.flatMap((mark) => step(mark, series.from)));
  const annotations = found.map((mark) => ({
    x: plantTime(mark.at_s, series.from), y: 1, yref: "paper", yanchor: "bottom", text: mark.text, showarrow: false,
    font: { color: colour("--ink") },
  }));
  const axis = { gridcolor: colour("--rule"), linecolor: colour("--rule"), zeroline: false };
  return {
    margin: { l: 56, r: 16, t: 32, b: 36 },
    paper_bgcolor: colour("--sheet"),
    plot_bgcolor: colour("--sheet"),
    font: { color: colour("--ink"), size: 13 },
    showlegend: false,
    xaxis: { ...axis, type: "date" },
    yaxis: { ...axis, title: { text: words(chart).axis }, fixedrange: true },
    shapes,
    annotations,
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
  return { x: series.t_s.map((t) => plantTime(t, series.from)), y: series.y_s, customdata: series.t_s };
}

async function draw(chart) {
  const said = chart.nextElementSibling;
  const table = said.nextElementSibling;
  try {
    if (!chart.dataset.lib) throw new Error("not installed");
    chart.hidden = false;
    const [plotly, series] = await Promise.all([load(chart.dataset.lib), ask(chart)]);
    speak(plotly, words(chart));
    const trace = { ...columns(series), type: "scatter", mode: "lines+markers", line: { width: 1, color: colour("--green") },
      marker: { size: 4, color: colour("--green") }, hovertemplate: "%{x|%H:%M:%S}<br>%{y:.1f} s<extra></extra>" };
    await plotly.newPlot(chart, [trace], layout(chart, series), CONFIG);
    chart.setAttribute("role", "group");
    chart.setAttribute("aria-label", chart.dataset.label);
    said.hidden = false;
    said.textContent = note(chart, series);
    table.open = false;
    follow(plotly, chart, series);
  } catch {
    chart.hidden = true;
    said.hidden = false;
    said.textContent = words(chart).failed;
    table.open = true;
  }
}

function open(chart, point) {
  if (!chart.dataset.open || point?.customdata === undefined) return;
  const address = new URL(chart.dataset.open, location.href);
  // a millisecond into the cycle: times in scripts are no finer, and may lie before the start
  address.searchParams.set("start", new Date(point.customdata * 1000 + 1).toISOString());
  location.assign(address);
}

function follow(plotly, chart, series) {
  chart.on("plotly_click", (event) => open(chart, event.points[0]));
  chart.on("plotly_relayout", async (change) => {
    const whole = change["xaxis.autorange"];
    const from = change["xaxis.range[0]"] ?? change["xaxis.range"]?.[0];
    const to = change["xaxis.range[1]"] ?? change["xaxis.range"]?.[1];
    if (!whole && !from) return;
    const edges = whole ? [] : [withOffset(from, series.from), withOffset(to, series.from)];
    try {
      const { x, y, customdata } = columns(await ask(chart, ...edges));
      await plotly.restyle(chart, { x: [x], y: [y], customdata: [customdata] });
    } catch {
      // what was drawn before stays; the next change asks again
    }
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    plotly.relayout(chart, layout(chart, series));
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
