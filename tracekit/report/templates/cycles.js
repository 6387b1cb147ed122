"use strict";
(function () {
  var kit = window.tracekit, data = kit.data;
  var SVG = "http://www.w3.org/2000/svg";
  var table = null, traces = new Map(), panel = null, opener = null;
  // Set by explore.js: which cycles the filter shows, and what follows a change of cycle.
  var lab = kit.lab = { matching: null, moved: function () {} };

  function unpack(text, Type) {
    if (!text) { return Promise.resolve(new Type(0)); }
    var raw = Uint8Array.from(atob(text), function (c) { return c.charCodeAt(0); });
    var stream = new Blob([raw]).stream().pipeThrough(new DecompressionStream("gzip"));
    return new Response(stream).arrayBuffer().then(function (b) { return new Type(b); });
  }

  function el(name, facts, text) {
    var made = document.createElement(name);
    Object.keys(facts || {}).forEach(function (k) { made.setAttribute(k, facts[k]); });
    if (text !== undefined) { made.textContent = text; }
    return made;
  }

  function shape(name, facts) {
    var made = document.createElementNS(SVG, name);
    Object.keys(facts).forEach(function (k) { made.setAttribute(k, facts[k]); });
    return made;
  }

  // ---- the cycle table -----------------------------------------------------------------------------------------

  function readTable(start, body) {
    var packed = data.cycles, n = packed.rows.length, place = new Map(), columns = {};
    packed.rows.forEach(function (c, i) { place.set(c, i); });
    packed.columns.forEach(function (c, k) { columns[c.name] = { facts: c, values: body.subarray(k * n, (k + 1) * n) }; });
    return { rows: packed.rows, place: place, start: start, columns: columns, list: packed.columns };
  }

  function value(name, cycle) {
    var column = table.columns[name], at = table.place.get(cycle);
    return column === undefined || at === undefined ? NaN : column.values[at];
  }

  function outcome(cycle) {
    var column = table.columns.outcome, code = value("outcome", cycle);
    return column && code >= 0 ? column.facts.values[code] : "unknown";
  }

  function rateWords(cycle) {
    var v = value("decay_rate_kpa_s", cycle);
    if (!isFinite(v)) { return ""; }
    var item = { u: "kPa/s", v: v }, l = value("decay_rate_lower_kpa_s", cycle), h = value("decay_rate_upper_kpa_s", cycle);
    if (isFinite(l) && isFinite(h)) { item.l = l; item.h = h; }
    return ", " + kit.say(item, kit.unit());
  }

  function spoken(cycle) { return "Cycle " + cycle + ", " + outcome(cycle) + rateWords(cycle); }

  // ---- the cycle panel -----------------------------------------------------------------------------------------

  function cellText(column, at) {
    var v = column.values[at], f = column.facts;
    if (!isFinite(v)) { return null; }
    if (f.values) { return f.values[v]; }
    if (f.unit.indexOf("kPa") === 0) {
      var item = { u: f.unit, v: v, s: 0.01 };
      if (f.name === "decay_rate_kpa_s") {
        item.l = table.columns.decay_rate_lower_kpa_s.values[at];
        item.h = table.columns.decay_rate_upper_kpa_s.values[at];
      }
      return kit.say(item, kit.unit());
    }
    var digits = f.unit === "s" ? -3 : f.unit === "" ? 0 : Math.floor(Math.log10(Math.abs(v) || 1)) - 2;
    return kit.digits(v, digits) + (f.unit ? "\u00a0" + f.unit : "") + (f.since ? " after the command" : "");
  }

  function numbersOf(cycle) {
    var at = table.place.get(cycle), body = el("tbody");
    var rows = [["start in the log", kit.digits(table.start[at], -3) + "\u00a0s"]];
    table.list.forEach(function (f) {
      if (/_(lower|upper)_/.test(f.name)) { return; }
      var text = cellText(table.columns[f.name], at);
      if (text !== null) { rows.push([f.label, text]); }
    });
    rows.forEach(function (pair) {
      var row = body.insertRow();
      row.append(el("th", { scope: "row", "class": "cell" }, pair[0]), el("td", { "class": "n" }, pair[1]));
    });
    return body;
  }

  function pathOf(points, x0, x1, y0, y1) {
    return points.time.reduce(function (d, t, i) {
      return d + (i ? "L" : "M") + ((t - x0) / (x1 - x0) * 1000).toFixed(1) + " " +
        (1000 - (points.vacuum[i] - y0) / (y1 - y0) * 1000).toFixed(1);
    }, "");
  }

  function picture(cycle) {
    var points = traces.get(cycle), box = el("div", { "class": "plot low wide" });
    if (!points) { return el("p", { "class": "soft" }, "The trace of this cycle is not in the page."); }
    var top = Math.max.apply(null, points.vacuum), foot = Math.min(0, Math.min.apply(null, points.vacuum));
    var y1 = top + 0.05 * (top - foot || 1), x0 = points.time[0], x1 = points.time[points.time.length - 1];
    var inner = el("div", { "class": "inner", role: "img", "aria-label": "Vacuum over time in cycle " + cycle });
    var grid = shape("svg", { "class": "labels" }), marks = shape("svg", { "class": "data", viewBox: "0 0 1000 1000", preserveAspectRatio: "none" });
    axis(grid, "x", x0, x1, "", "seconds after the vacuum command");
    axis(grid, "y", foot, y1, "kPa", "");
    ["set_point", "reset_point"].forEach(function (name) {
      var v = data.settings[name];
      if (v !== undefined && v > foot && v < y1) {
        marks.append(shape("path", { "class": "limit", d: "M0 " + (1000 - (v - foot) / (y1 - foot) * 1000) + "H1000" }));
      }
    });
    marks.append(shape("path", { "class": "thin usual", d: pathOf(points, x0, x1, foot, y1) }));
    inner.append(grid, marks);
    box.append(inner);
    var whole = el("div", {}), note = points.every ? "Every sample of the cycle." : "Short averages of the samples.";
    whole.append(box, el("p", { "class": "soft" }, note));
    return whole;
  }

  function axis(svg, side, low, high, unit, name) {
    kit.ticks(low, high, unit ? data.units[kit.unit()] : 1, side === "x" && innerWidth < 600 ? 3 : 5).forEach(function (t) {
      var at = ((t.value - low) / (high - low) * 100).toFixed(2);
      var y = (100 - at).toFixed(2) + "%";
      if (side === "y") { svg.append(shape("line", { "class": "grid", x1: 0, x2: "100%", y1: y, y2: y })); }
      var facts = side === "x" ? { "class": "mid", x: at + "%", y: "100%", dy: 16 } : { "class": "end", x: 0, dx: -6, y: y, dy: 4 };
      svg.append(shape("text", facts));
      svg.lastChild.textContent = t.text;
    });
    if (side === "y" && unit) { name = kit.unit() + " of vacuum"; }
    svg.append(shape("text", side === "x" ? { "class": "end", x: "100%", y: "100%", dx: 8, dy: 32 } : { x: 0, dx: -40, y: 0, dy: -10 }));
    svg.lastChild.textContent = name;
  }

  function buildPanel() {
    panel = el("section", { "class": "panel", "aria-labelledby": "panel-name", tabindex: "-1" });
    var head = el("div", { "class": "row" });
    var back = el("button", { type: "button" }, "Previous"), next = el("button", { type: "button" }, "Next");
    var box = el("input", { type: "number", min: 0, max: data.cycles.total - 1, "aria-label": "Cycle number", inputmode: "numeric" });
    var close = el("button", { type: "button" }, "Close");
    head.append(back, box, next, close);
    panel.append(el("h3", { id: "panel-name" }), head, el("div", { "class": "look" }), el("div", { "class": "figures", tabindex: "0", role: "region", "aria-label": "Numbers of this cycle" }));
    back.addEventListener("click", function () { step(-1); });
    next.addEventListener("click", function () { step(1); });
    box.addEventListener("change", function () { show(nearest(Number(box.value))); });
    close.addEventListener("click", shut);
    panel.addEventListener("keydown", function (e) { if (e.key === "Escape") { shut(); } });
  }

  function nearest(cycle) {
    return table.rows.reduce(function (best, c) { return Math.abs(c - cycle) < Math.abs(best - cycle) ? c : best; }, table.rows[0]);
  }

  function step(by) {
    var list = lab.matching(), now = list.indexOf(Number(panel.dataset.cycle));
    show(list[Math.min(list.length - 1, Math.max(0, (now < 0 ? 0 : now) + by))]);
  }

  function show(cycle) {
    panel.dataset.cycle = cycle;
    panel.querySelector("h3").textContent = spoken(cycle);
    panel.querySelector("input").value = cycle;
    panel.querySelector(".look").replaceChildren(picture(cycle));
    var numbers = el("table", {});
    numbers.append(numbersOf(cycle));
    panel.querySelector(".figures").replaceChildren(numbers);
    lab.moved(cycle);
    kit.tell(spoken(cycle));
  }

  function open(cycle, from) {
    if (!panel) { buildPanel(); }
    opener = from;
    from.closest("figure").append(panel);
    show(cycle);
    panel.focus();
  }

  function shut() {
    panel.remove();
    if (opener) { opener.focus(); }
  }

  // ---- reading what the page carries ---------------------------------------------------------------------------

  function readTraces(time, vacuum) {
    var at = 0;
    data.traces.index.forEach(function (entry) {
      var t = 0, v = 0, points = { time: [], vacuum: [], every: entry[2] === 1 };
      for (var i = 0; i < entry[1]; i += 1, at += 1) {
        t += time[at];
        v += vacuum[at];
        points.time.push(t * data.traces.time_step);
        points.vacuum.push(v * data.traces.vacuum_step);
      }
      traces.set(entry[0], points);
    });
  }

  function read(all) {
    table = lab.table = readTable(all[0], all[1]);
    readTraces(all[2], all[3]);
  }

  function refresh() { if (panel && panel.isConnected) { show(Number(panel.dataset.cycle)); } }

  Object.assign(lab, { unpack: unpack, el: el, shape: shape, axis: axis, value: value, outcome: outcome, spoken: spoken, nearest: nearest,
    open: open, read: read, refresh: refresh, traces: traces });
}());
