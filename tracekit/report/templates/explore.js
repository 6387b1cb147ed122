"use strict";
(function () {
  var kit = window.tracekit, data = kit.data, lab = kit.lab, el = lab.el, shape = lab.shape, traces = lab.traces;
  if (!data.cycles || typeof DecompressionStream === "undefined") { return; }
  var table = null, strip = null, chosen = "all", HINT = "Tap or click a cycle to open it; pointing shows its figures.";

  // ---- cursors: one tab stop per picture -----------------------------------------------------------------------

  var cursors = [];

  function ask(plot) {
    var facts = plot.dataset;
    if (facts.rows) {
      var rows = facts.rows.split(" ").map(Number), top = Number(facts.top), total = Number(facts.total);
      return { list: rows, flat: true,
        spot: function (c) { var i = rows.indexOf(c); return i < 0 ? null : [(top + i) / total, (top + i + 1) / total]; },
        find: function (x, y) { return rows[Math.min(rows.length - 1, Math.max(0, Math.floor(y * total) - top))]; } };
    }
    if (facts.cycles) {
      var n = data.cycles.total;
      return { list: table.rows, flat: false,
        spot: function (c) { return [c / n, (c + 1) / n]; },
        find: function (x) { return lab.nearest(Math.min(n - 1, Math.max(0, Math.floor(x * n)))); } };
    }
    return { list: table.rows, flat: false,
      spot: function (c) {
        var i = table.place.get(c), end = table.start[i + 1], span = zoom.hi - zoom.lo;
        if (end === undefined || table.rows[i + 1] !== c + 1) { end = table.start[i] + (lab.value("hold_end_s", c) || 0) + 0.5; }
        var a = (table.start[i] - zoom.lo) / span, b = (end - zoom.lo) / span;
        return b < 0 || a > 1 ? null : [Math.max(0, a), Math.min(1, b)];
      },
      moment: function (cycle, x) { return vacuumAt(cycle, zoom.lo + x * (zoom.hi - zoom.lo)); },
      find: function (x) {
        var t = zoom.lo + x * (zoom.hi - zoom.lo), i = 0;
        while (i + 1 < table.rows.length && table.start[i + 1] <= t) { i += 1; }
        return table.rows[i];
      } };
  }

  // What the recording reads at a moment: of the cycle's own points, where the page holds them, else only the time.
  function vacuumAt(cycle, t) {
    var words = kit.digits(t, -2) + "\u00a0s: ", p = traces.get(cycle), at = t - table.start[table.place.get(cycle)];
    if (!p || at < p.time[0] || at > p.time[p.time.length - 1]) { return words; }
    var i = p.time.findIndex(function (v) { return v >= at; });
    return words + kit.say({ u: "kPa", v: p.vacuum[i], s: 0.1 }, kit.unit()) + ". ";
  }

  function addCursor(plot) {
    var inner = plot.querySelector(".inner"), asked = ask(plot), now = asked.list[0];
    var stop = el("div", { "class": "stop", role: "slider", tabindex: "0", "aria-label": "Cycle in this picture", "aria-valuemin": asked.list[0],
      "aria-valuemax": asked.list[asked.list.length - 1], "aria-valuenow": now, "aria-valuetext": lab.spoken(now) });
    var mark = el("div", { "class": "mark" }), veil = shape("svg", { "class": "data veil", viewBox: "0 0 1000 1000", preserveAspectRatio: "none" });
    var read = el("p", { "class": "soft control readout", "aria-hidden": "true" }, HINT);
    mark.hidden = true;
    var moved = false;
    inner.append(veil);
    stop.append(mark);
    plot.append(stop);
    plot.after(read);
    function fit() {
      var a = inner.getBoundingClientRect(), b = plot.getBoundingClientRect();
      ["left", "top", "width", "height"].forEach(function (k) {
        stop.style[k] = (k === "left" ? a.left - b.left : k === "top" ? a.top - b.top : a[k]) + "px";
      });
    }
    function at(cycle) {
      var spot = asked.spot(cycle);
      now = cycle;
      stop.setAttribute("aria-valuenow", cycle);
      stop.setAttribute("aria-valuetext", lab.spoken(cycle));
      read.textContent = lab.spoken(cycle);
      moved = true;
      mark.hidden = spot === null;
      if (spot) {
        mark.style[asked.flat ? "top" : "left"] = spot[0] * 100 + "%";
        mark.style[asked.flat ? "height" : "width"] = Math.max(0.4, (spot[1] - spot[0]) * 100) + "%";
      }
    }
    function move(by) {
      var list = asked.list.filter(function (c) { return fits(c); }), i = list.indexOf(now);
      if (list.length) { at(list[Math.min(list.length - 1, Math.max(0, (i < 0 ? 0 : i) + by))]); }
    }
    stop.addEventListener("keydown", function (e) {
      var by = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1, PageDown: 10, PageUp: -10, Home: -1e9, End: 1e9 }[e.key];
      if (by) { e.preventDefault(); move(by); }
      if (e.key === "Enter" || e.key === " ") { e.preventDefault(); lab.open(now, stop); }
    });
    stop.addEventListener("click", function (e) {
      if (stop.dataset.dragged) { delete stop.dataset.dragged; return; }
      var a = stop.getBoundingClientRect();
      at(asked.find((e.clientX - a.left) / a.width, (e.clientY - a.top) / a.height));
      lab.open(now, stop);
    });
    stop.addEventListener("pointermove", function (e) {
      var a = stop.getBoundingClientRect(), x = (e.clientX - a.left) / a.width, cycle = asked.find(x, (e.clientY - a.top) / a.height);
      read.textContent = (asked.moment ? asked.moment(cycle, x) : "") + lab.spoken(cycle);
    });
    stop.addEventListener("pointerleave", function () { read.textContent = moved ? lab.spoken(now) : HINT; });
    new ResizeObserver(fit).observe(plot);
    cursors.push({ plot: plot, stop: stop, at: at, veil: veil, ask: asked, again: function () {
      stop.setAttribute("aria-valuetext", lab.spoken(now));
      if (moved) { at(now); }
    } });
  }

  // ---- filter --------------------------------------------------------------------------------------------------

  lab.matching = matching;
  lab.moved = function (cycle) { cursors.forEach(function (c) { c.at(cycle); }); };
  var touched = new Set(data.touched), parts = {};

  function fits(cycle) {
    var kind = chosen === "all" || (chosen === "touched" ? touched.has(cycle) : lab.outcome(cycle) === chosen);
    return kind && Object.keys(parts).every(function (name) { return parts[name] === "" || lab.value(name, cycle) === Number(parts[name]); });
  }

  function filtered() { return chosen !== "all" || Object.keys(parts).some(function (name) { return parts[name] !== ""; }); }

  function matching() { var found = table.rows.filter(fits); return found.length ? found : table.rows; }

  function veilAll() {
    cursors.forEach(function (c) {
      var d = "";
      if (filtered()) {
        c.ask.list.forEach(function (cycle) {
          var s = fits(cycle) ? null : c.ask.spot(cycle);
          if (s) {
            var a = (s[0] * 1000).toFixed(1), b = (s[1] * 1000).toFixed(1);
            d += c.ask.flat ? "M0 " + a + "H1000V" + b + "H0Z" : "M" + a + " 0V1000H" + b + "V0Z";
          }
        });
      }
      c.veil.replaceChildren(shape("path", { "class": "veil", d: d }));
    });
  }

  // Columns of the log that tell cycles apart: part type, nest, shift.
  function byContext(f) { return f.name.indexOf("context_") === 0 && present(f).length > 1; }

  function present(f) {
    var seen = new Set(table.columns[f.name].values);
    if (f.values) { return f.values.map(function (word, i) { return [i, word]; }).filter(function (pair) { return seen.has(pair[0]); }); }
    var found = Array.from(seen).filter(isFinite).sort(function (a, b) { return a - b; });
    return found.length > 40 ? [] : found.map(function (v) { return [v, String(v)]; });
  }

  function contextChoice(f, tell) {
    var label = el("label", { "class": "choice" }, f.label.replace(/^context /, "") + " "), list = el("select", {});
    list.append(el("option", { value: "" }, "all"));
    present(f).forEach(function (pair) { list.append(el("option", { value: pair[0] }, pair[1])); });
    list.addEventListener("change", function () { parts[f.name] = list.value; tell(); });
    label.append(list);
    return label;
  }

  function addFilter() {
    var kinds = ["held", "dropped", "missed", "incomplete"].filter(function (k) { return table.rows.some(function (c) { return lab.outcome(c) === k; }); });
    var options = [["all", "All cycles"]].concat(kinds.length > 1 ? kinds.map(function (k) { return [k, k[0].toUpperCase() + k.slice(1)]; }) : []);
    if (touched.size && touched.size < table.rows.length) { options.push(["touched", "With the fault"]); }
    var bar = el("div", { "class": "tools control", role: "group", "aria-label": "Which cycles to show" }), note = el("span", { "class": "soft", role: "status" });
    function tell() {
      veilAll();
      note.textContent = table.rows.filter(fits).length + " of " + table.rows.length + " shown" + middleRate();
    }
    kit.onUnit(function () { if (note.textContent) { tell(); } });
    if (options.length > 1) {
      options.forEach(function (o) {
        var button = el("button", { type: "button", "aria-pressed": String(o[0] === "all") }, o[1]);
        button.addEventListener("click", function () {
          chosen = o[0];
          bar.querySelectorAll("button[aria-pressed]").forEach(function (b) { b.setAttribute("aria-pressed", String(b === button)); });
          tell();
        });
        bar.append(button);
      });
    }
    table.list.filter(byContext).forEach(function (f) { bar.append(contextChoice(f, tell)); });
    var save = el("button", { type: "button" }, "Save the cycles shown (CSV)");
    save.addEventListener("click", saveCycles);
    bar.append(save, note);
    var first = document.querySelector("#evidence .pictures");
    if (first) { first.before(bar); }
  }

  // What the cycles shown lose in the median: pictures fade the others, their own lines and headings stay for all.
  function middleRate() {
    var known = table.rows.filter(fits).map(function (c) { return lab.value("decay_rate_kpa_s", c); }).filter(isFinite);
    if (!filtered() || known.length < 3) { return ""; }
    known.sort(function (a, b) { return a - b; });
    var half = known.length >> 1, mid = known.length % 2 ? known[half] : (known[half - 1] + known[half]) / 2;
    return "; they lose " + kit.say({ u: "kPa/s", v: mid, s: mid < 10 ? 0.1 : 1 }, kit.unit()) + " in the median";
  }

  function saveCycles() {
    var names = table.list.map(function (f) { return f.name; });
    var lines = [["cycle", "start_s"].concat(names).map(kit.cell).join(",")];
    table.rows.filter(fits).forEach(function (c) {
      var at = table.place.get(c);
      lines.push([c, +table.start[at].toFixed(6)].concat(table.list.map(function (f) {
        var v = table.columns[f.name].values[at];
        if (!isFinite(v)) { return ""; }
        if (f.since) { return +(table.start[at] + v).toFixed(5); }
        return f.values && f.name !== "set_point_reached" && f.name !== "ultimate_extrapolated" ? kit.cell(f.values[v]) : +v.toPrecision(7);
      })).join(","));
    });
    kit.save("cycles", lines.join("\r\n") + "\r\n");
  }

  // ---- the recording, zoomed -----------------------------------------------------------------------------------

  var zoom = { lo: 0, hi: 1 };

  function band(n, body) {
    var first = 0, last = n, d = "", back = "";
    while (first + 1 < n && body[first + 1] < zoom.lo) { first += 1; }
    while (last > 1 && body[last - 2] > zoom.hi) { last -= 1; }
    for (var i = first; i < last; i += 1) {
      var x = ((body[i] - zoom.lo) / (zoom.hi - zoom.lo) * 1000).toFixed(1);
      d += (d ? "L" : "M") + x + " " + height(body[n + i]);
      back = "L" + x + " " + height(body[2 * n + i]) + back;
    }
    return d + back + "Z";
  }

  function height(v) { return (1000 - (v - zoom.y0) / (zoom.y1 - zoom.y0) * 1000).toFixed(1); }

  function drawStrip() {
    var inner = strip.plot.querySelector(".inner"), marks = inner.querySelector("svg.data:not(.veil)"), labels = inner.querySelectorAll("svg.labels");
    var close = table.rows.filter(function (c) {
      var at = table.place.get(c), end = at + 1 < table.rows.length ? table.start[at + 1] : zoom.full[1];
      return traces.has(c) && table.start[at] < zoom.hi && end > zoom.lo;
    });
    var near = zoom.hi - zoom.lo < zoom.fine && close.length;
    var covered = near && close.length === table.rows.filter(function (c) {
      var at = table.place.get(c), end = at + 1 < table.rows.length ? table.start[at + 1] : zoom.full[1];
      return table.start[at] < zoom.hi && end > zoom.lo;
    }).length;
    marks.replaceChildren();
    if (!covered) { marks.append(shape("path", { "class": near ? "f-usual" : "solid-usual usual hair", d: band(strip.n, strip.body) })); }
    if (near) {
      close.forEach(function (c) {
        var p = traces.get(c), start = table.start[table.place.get(c)];
        marks.append(shape("path", { "class": "thin ink", d: p.time.reduce(function (d, t, i) {
          var x = (start + t - zoom.lo) / (zoom.hi - zoom.lo) * 1000;
          return x < -200 || x > 1200 ? d : d + (d ? "L" : "M") + x.toFixed(2) + " " + height(p.vacuum[i]);
        }, "") }));
      });
    }
    outcomes(labels[1], marks);
    labels[0].replaceChildren();
    lab.axis(labels[0], "x", zoom.lo, zoom.hi, "", "seconds since the start of the log");
    lab.axis(labels[0], "y", zoom.y0, zoom.y1, "kPa", "");
    cursors.forEach(function (c) { if (c.plot === strip.plot) { c.again(); } });
    veilAll();
  }

  function outcomes(svg, marks) {
    var signs = { dropped: "\u25bc", missed: "\u25cb", incomplete: "\u2571" }, bars = "", own = cursors.find(function (c) { return c.plot === strip.plot; });
    svg.replaceChildren();
    table.rows.forEach(function (c) {
      var spot = own && own.ask.spot(c), kind = lab.outcome(c);
      if (!spot) { return; }
      if (!signs[kind]) { bars += "M" + (spot[0] * 1000).toFixed(1) + " 60H" + ((spot[0] + 0.8 * (spot[1] - spot[0])) * 1000).toFixed(1); return; }
      svg.append(shape("text", { "class": kind === "incomplete" ? "mid" : "mid t-odd", x: (50 * (spot[0] + spot[1])).toFixed(2) + "%", y: "6%", dy: 5 }));
      svg.lastChild.textContent = signs[kind];
    });
    marks.append(shape("path", { "class": "r5 tick", d: bars }));
  }

  function zoomTo(lo, hi) {
    var span = Math.min(zoom.full[1] - zoom.full[0], Math.max(0.05, hi - lo));
    lo = Math.min(Math.max(lo, zoom.full[0]), zoom.full[1] - span);
    zoom.lo = lo;
    zoom.hi = lo + span;
    drawStrip();
  }

  function zoomBy(factor, where) {
    var span = (zoom.hi - zoom.lo) * factor, at = zoom.lo + where * (zoom.hi - zoom.lo);
    zoomTo(at - where * span, at - where * span + span);
  }

  function startStrip(plot, body) {
    strip = { plot: plot, n: data.strip.n, body: body };
    var n = strip.n, top = -Infinity, foot = Infinity;
    for (var i = 0; i < n; i += 1) { top = Math.max(top, body[n + i]); foot = Math.min(foot, body[2 * n + i]); }
    var room = Math.max(top - foot, 1);
    zoom = { lo: body[0], hi: body[n - 1], full: [body[0], body[n - 1]], y0: foot - 0.03 * room, y1: top + 0.16 * room, fine: 1 };
    var length = (zoom.hi - zoom.lo) / Math.max(1, data.cycles.total);
    zoom.fine = Math.max(12 * length, 60 * (zoom.hi - zoom.lo) / n);
    var bar = el("div", { "class": "tools control", role: "group", "aria-label": "Zoom of the recording" });
    [["Closer", function () { zoomBy(0.4, 0.5); }], ["Wider", function () { zoomBy(2.5, 0.5); }],
      ["Earlier", function () { var s = zoom.hi - zoom.lo; zoomTo(zoom.lo - 0.7 * s, zoom.hi - 0.7 * s); }],
      ["Later", function () { var s = zoom.hi - zoom.lo; zoomTo(zoom.lo + 0.7 * s, zoom.hi + 0.7 * s); }],
      ["Whole", function () { zoomTo(zoom.full[0], zoom.full[1]); }]].forEach(function (b) {
      var button = el("button", { type: "button" }, b[0]);
      button.addEventListener("click", b[1]);
      bar.append(button);
    });
    plot.before(bar);
  }

  function dragStrip() {
    var own = cursors.find(function (c) { return c.plot === strip.plot; }), from = null;
    own.stop.classList.add("drag");
    own.stop.addEventListener("pointerdown", function (e) { from = { x: e.clientX, lo: zoom.lo, hi: zoom.hi }; });
    own.stop.addEventListener("pointermove", function (e) {
      if (!from || !e.buttons || Math.abs(e.clientX - from.x) < 6) { return; }
      own.stop.dataset.dragged = "1";
      var by = (from.x - e.clientX) / own.stop.clientWidth * (from.hi - from.lo);
      zoomTo(from.lo + by, from.hi + by);
    });
    own.stop.addEventListener("pointerup", function () { from = null; });
    own.stop.addEventListener("wheel", function (e) {
      if (!e.ctrlKey) { return; }
      e.preventDefault();
      var a = own.stop.getBoundingClientRect();
      zoomBy(e.deltaY > 0 ? 1.3 : 0.77, (e.clientX - a.left) / a.width);
    }, { passive: false });
    own.stop.addEventListener("keydown", function (e) {
      if (e.key === "+" || e.key === "-") { zoomBy(e.key === "+" ? 0.5 : 2, 0.5); }
    });
  }

  // ---- start ---------------------------------------------------------------------------------------------------

  Promise.all([lab.unpack(data.cycles.start, Float64Array), lab.unpack(data.cycles.body, Float32Array), lab.unpack(data.traces.time, Int32Array),
    lab.unpack(data.traces.vacuum, Int32Array), lab.unpack(data.strip.body, Float32Array)]).then(function (all) {
    lab.read(all);
    table = lab.table;
    if (!table.rows.length) { return; }
    var whole = document.querySelector(".plot[data-strip]");
    if (whole && data.strip.n > 1) { startStrip(whole, all[4]); }
    document.querySelectorAll(".plot[data-rows],.plot[data-cycles],.plot[data-strip]").forEach(addCursor);
    addFilter();
    if (strip) { dragStrip(); }
    kit.onUnit(function () {
      if (strip) { drawStrip(); }
      lab.refresh();
      cursors.forEach(function (c) { c.again(); });
    });
    document.documentElement.dataset.ready = "1";
  });
}());
