// What the page does beyond forms and links: answers that follow the fields, and reading off charts.
// Everything works without it.
"use strict";

const FRAGMENT = "X-Pullbook-Fragment";

// --- Answers that follow the fields -----------------------------------------------------

function follow(form) {
  const place = document.getElementById(form.dataset.live);
  let waiting = 0, running = null;
  async function ask() {
    const given = [...new FormData(form)].filter(([, text]) => String(text).trim() !== "");
    const address = `${form.getAttribute("action")}?${new URLSearchParams(given)}`;
    if (running) running.abort();
    running = new AbortController();
    place.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(address, {headers: {[FRAGMENT]: "yes"}, signal: running.signal});
      place.innerHTML = await answer.text();
      history.replaceState(null, "", address);
      place.querySelectorAll("figure[data-chart]").forEach(readOff);
    } catch (fault) {
      if (fault.name === "AbortError") return;
      place.textContent = "pullbook does not answer. Is it still running? Start it again with: pullbook open";
    }
    place.removeAttribute("aria-busy");
  }
  form.addEventListener("change", (event) => {
    if (event.target.id === "start" || event.target.id === "units") { form.submit(); return; }
    clearTimeout(waiting);
    waiting = setTimeout(ask, 150);
  });
  form.addEventListener("band", ask);
}

// --- Reading off a chart: hover, finger, arrow keys -------------------------------------

function between(curve, values, rpm) {
  const x = curve.x, at = x.findIndex((one) => one >= rpm);
  if (at < 0 || rpm < x[0]) return null;
  const right = values[at], left = values[Math.max(at - 1, 0)];
  if (right == null || left == null) return x[at] === rpm ? right ?? null : null;
  const span = x[at] - x[Math.max(at - 1, 0)];
  return span ? left + (right - left) * (rpm - x[at - 1]) / span : right;
}

function line(curve, rpm) {
  const value = between(curve, curve.y, rpm);
  if (value == null) return `${curve.name}: not tested at this speed`;
  const low = between(curve, curve.low, rpm), high = between(curve, curve.high, rpm);
  const limits = low == null || high == null ? "" : ` (${low.toFixed(0)} to ${high.toFixed(0)})`;
  return `${curve.name}: ${value.toFixed(0)} ${curve.unit}${limits}`;
}

function readOff(figure) {
  const chart = JSON.parse(figure.dataset.chart), place = figure.querySelector(".readout");
  const [low, high] = chart.speeds;
  const label = document.createElement("label"), slider = document.createElement("input");
  const speed = document.createElement("span"), list = document.createElement("ul");
  slider.type = "range";
  Object.assign(slider, {min: low, max: high, step: 50, value: Math.round((low + high) / 100) * 50});
  label.append("Read off at", slider, speed);
  place.append(label, list);
  place.hidden = false;
  const cursors = [...figure.querySelectorAll("svg")].map((svg) => {
    const cursor = document.createElementNS("http://www.w3.org/2000/svg", "line");
    cursor.setAttribute("class", "cursor");
    cursor.setAttribute("y1", svg.dataset.top);
    cursor.setAttribute("y2", svg.dataset.bottom);
    svg.insertBefore(cursor, svg.querySelector(".curve"));  // labels stay in front of it
    return [svg, cursor];
  });
  const shape = (svg) => chart.shapes[svg.classList.contains("narrow") ? "narrow" : "wide"];
  function show() {
    const rpm = Number(slider.value), lines = chart.curves.map((curve) => line(curve, rpm));
    speed.textContent = `${rpm.toFixed(0)} rpm`;
    slider.setAttribute("aria-valuetext", `${rpm.toFixed(0)} rpm. ${lines.join(". ")}`);
    list.replaceChildren(...lines.map((text) => {
      const item = document.createElement("li");
      item.textContent = text;
      return item;
    }));
    for (const [svg, cursor] of cursors) {
      const [, left, right] = shape(svg), x = left + (rpm - low) / (high - low) * (right - left);
      cursor.setAttribute("x1", x);
      cursor.setAttribute("x2", x);
    }
  }
  function rpmAt(svg, event) {
    const box = svg.getBoundingClientRect(), [width, left, right] = shape(svg);
    const x = (event.clientX - box.left) / box.width * width;
    return Math.min(high, Math.max(low, low + (x - left) / (right - left) * (high - low)));
  }
  let from = null;
  const form = figure.dataset.band && document.querySelector("form[data-live]");
  for (const [svg] of cursors) {
    svg.addEventListener("pointermove", (event) => {
      slider.value = rpmAt(svg, event);
      show();
    });
    svg.addEventListener("pointerdown", (event) => {
      slider.value = rpmAt(svg, event);
      show();
      from = event.pointerType === "mouse" ? rpmAt(svg, event) : null;
    });
    svg.addEventListener("pointerup", (event) => {
      const to = rpmAt(svg, event);
      if (form && from != null && Math.abs(to - from) >= 100) {
        const ends = [from, to].sort((a, b) => a - b).map((one) => Math.round(one / 50) * 50);
        form.elements.band_low.value = ends[0];
        form.elements.band_high.value = ends[1];
        form.dispatchEvent(new Event("band"));
      }
      from = null;
    });
  }
  slider.addEventListener("input", show);
  show();
}

// --- Names of tests, as they are typed: too many to send with every page -----------------

function suggest(list) {
  let waiting = 0;
  async function ask(text) {
    const found = await fetch(`${list.dataset.names}?${new URLSearchParams({q: text})}`);
    list.replaceChildren(...(await found.json()).map((name) => {
      const option = document.createElement("option");
      option.value = name;
      return option;
    }));
  }
  document.querySelectorAll(`input[list="${list.id}"]`).forEach((input) => {
    input.addEventListener("input", () => {
      clearTimeout(waiting);
      waiting = setTimeout(() => ask(input.value).catch(() => {}), 150);
    });
  });
}

// --- Files dropped, and work that takes long --------------------------------------------

function drop(area) {
  const input = area.querySelector("input[type=file]"), form = area.closest("form");
  for (const name of ["dragenter", "dragover"])
    area.addEventListener(name, (event) => { event.preventDefault(); area.classList.add("over"); });
  area.addEventListener("dragleave", () => area.classList.remove("over"));
  area.addEventListener("drop", (event) => {
    event.preventDefault();
    area.classList.remove("over");
    if (event.dataTransfer.files.length) { input.files = event.dataTransfer.files; form.requestSubmit(); }
  });
}

function watch(place) {
  const source = new EventSource(place.dataset.progress);
  source.addEventListener("step", (event) => {
    const step = JSON.parse(event.data), bar = place.querySelector("progress");
    if (step.share == null) bar.removeAttribute("value"); else bar.value = step.share;
    place.querySelector(".step").textContent = step.text;
  });
  source.addEventListener("end", () => {
    source.close();
    if (!place.dataset.end) { location.reload(); return; }
    place.textContent = place.dataset.end;  // what is typed in a form stays
  });
}

document.querySelectorAll("form[data-live]").forEach(follow);
document.querySelectorAll("figure[data-chart]").forEach(readOff);
document.querySelectorAll(".drop").forEach(drop);
document.querySelectorAll("[data-progress]").forEach(watch);
document.querySelectorAll("datalist[data-names]").forEach(suggest);
document.querySelectorAll("form[data-wait]").forEach((form) => form.addEventListener("submit", () => {
  form.querySelector(".waiting").hidden = false;
  form.setAttribute("aria-busy", "true");
}));
window.addEventListener("pageshow", () => document.querySelectorAll(".waiting").forEach((one) => { one.hidden = true; }));
document.querySelectorAll("[data-print]").forEach((one) => {
  one.hidden = false;
  one.addEventListener("click", () => window.print());
});
