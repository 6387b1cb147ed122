"use strict";
(function () {
  var kit = window.tracekit, t = kit.data.tune, box = document.getElementById("try");
  if (!t || !box) { return; }
  var names = Object.keys(t.now), now = Object.assign({}, t.now), rules = t.limits, tables = t.tables;
  var rows = document.getElementById("try-rows"), said = document.getElementById("try-broken"), fine = document.getElementById("try-holds");
  var copy = document.getElementById("try-copy"), timer = 0;

  function find(grid, value) {
    var last = grid.length - 1, i = 0;
    if (value <= grid[0]) { return [0, 0]; }
    if (value >= grid[last]) { return [Math.max(last - 1, 0), last ? 1 : 0]; }
    while (grid[i + 1] < value) { i += 1; }
    return [i, (value - grid[i]) / (grid[i + 1] - grid[i])];
  }

  function along(grid, values, x) {
    if (!grid.length) { return null; }
    var at = find(grid, x), a = values[at[0]], b = values[Math.min(at[0] + 1, values.length - 1)];
    return a === null || b === null ? (a === null ? b : a) : a + (b - a) * at[1];
  }

  function over(first, second, plane, x, y) {
    if (!first.length || !second.length) { return null; }
    var at = find(first, x), low = along(second, plane[at[0]], y), high = along(second, plane[Math.min(at[0] + 1, plane.length - 1)], y);
    return low === null || high === null ? (low === null ? high : low) : low + (high - low) * at[1];
  }

  function moved(v, some) { return some.some(function (n) { return v[n] !== undefined && Math.abs(v[n] - t.now[n]) > 1e-9; }); }

  // What no device can hold: the names of both settings, and how far they are from the least order.
  function impossible(v) {
    return [["reset_point", "set_point", "reset point + step \u2264 set point"], ["supply_on", "supply_off", "supply on + step \u2264 supply off"]].filter(function (p) {
      return v[p[0]] !== undefined && v[p[1]] !== undefined && v[p[0]] > v[p[1]] - 1e-9 && moved(v, [p[0], p[1]]);
    }).map(function (p) { return [p[2], v[p[1]] - v[p[0]] - rules.step]; });
  }

  function cutBefore(v) { return v.supply_off !== undefined && v.supply_on !== undefined && v.set_point > v.supply_off + rules.overshoot; }
  function short(v) { return cutBefore(v) ? 1 : along(tables.point, tables.missed, v.set_point - (v.supply_off > t.now.supply_off + 1e-9 ? rules.later : 0)); }
  // Without a pick that reaches the set point there is no hold to tell of.
  function never(v) { return moved(v, ["set_point", "supply_off"]) && short(v) > 0.5; }
  function beyond(v) {
    var loop = tables.off.length > 0, low = loop && rules.seen_low !== undefined && v.supply_on < rules.seen_low - 1 && moved(v, ["supply_on"]);
    return low || (rules.seen_high !== undefined && ((loop && v.supply_off > rules.seen_high + 1 && moved(v, ["supply_off"])) || (v.set_point > rules.seen_high + 1 && moved(v, ["set_point"]))));
  }

  function effects(v) {
    var nothing = { evacuation: null, missed: null, drops: null, edges: null, switches: null, air: null, risk: null };
    if (impossible(v).length) { return nothing; }
    if (never(v)) { return Object.assign(nothing, { missed: short(v) }); }
    // Raised as far, supply on keeps vacuum over the reset point, whatever the saw-tooth did when it was recorded.
    var kept = v.supply_on > t.now.supply_on && v.supply_on - rules.fall >= v.reset_point;
    var found = { evacuation: along(tables.point, tables.evacuation_s, v.set_point), missed: short(v),
      drops: over(tables.reset, tables.point, kept ? tables.kept_drops : tables.drops, v.reset_point, v.set_point),
      edges: over(tables.reset, tables.point, kept ? tables.kept_edges : tables.edges, v.reset_point, v.set_point), switches: null, air: null, risk: null };
    // Thresholds so close that no table tells them: what the log shows holds while they stay.
    if (!kept && v.set_point === t.now.set_point && v.reset_point === t.now.reset_point) {
      if (found.drops === null && t.seen.false_drop_share !== undefined) { found.drops = t.seen.false_drop_share; }
      if (found.edges === null && t.seen.chatter_edges_per_hold !== undefined) { found.edges = t.seen.chatter_edges_per_hold; }
    }
    var loop = v.supply_on !== undefined && v.supply_off !== undefined, known = loop && tables.off.length > 0;
    if (known) {
      found.switches = over(tables.off, tables.on, tables.switches, v.supply_off, v.supply_on);
      found.air = over(tables.off, tables.on, tables.on_time_s, v.supply_off, v.supply_on);
    }
    // A loop that never cut is as recorded until one of its thresholds is moved.
    if (known || (loop && (v.supply_on !== t.now.supply_on || v.supply_off !== t.now.supply_off))) {
      found.risk = along(tables.gap, tables.risk, v.supply_on - rules.fall - v.reset_point);
      if (found.drops !== null && found.risk !== null) { found.drops = Math.max(found.drops, found.risk); }
    }
    return found;
  }

  function lacks(v) {
    var bad = [], unsure = [];
    // `worst`: the margin at the worst value of settings in force that are known only roughly.
    function rule(words, margin, worst) {
      var least = worst === undefined ? margin : worst, text = words + " (short by " + kit.say({ u: "kPa", v: -least, s: 0.1 }, kit.unit()) + ")";
      if (least < -1e-9) { (margin < -1e-9 ? bad : unsure).push(text); }
    }
    function low(n) { return shifted(n) ? v[n] : t.low[n]; }
    function high(n) { return shifted(n) ? v[n] : t.high[n]; }
    function order(words, below, above, gap) { if (has(below, above)) { rule(words, v[above] - v[below] - gap, low(above) - high(below) - gap); } }
    function has() { return Array.prototype.every.call(arguments, function (n) { return v[n] !== undefined; }); }
    function shifted(n) { return moved(v, [n]); }
    var none = impossible(v);
    if (none.length) { none.forEach(function (p) { rule(p[0], p[1]); }); return { bad: bad, unsure: unsure }; }
    order("reset point + guard \u2264 supply on", "reset_point", "supply_on", rules.guard);
    order("supply on + step \u2264 supply off", "supply_on", "supply_off", rules.step);
    order("set point + step \u2264 supply off", "set_point", "supply_off", rules.step);
    order("reset point + step \u2264 set point", "reset_point", "set_point", rules.step);
    if (has("reset_point", "set_point") && (shifted("set_point") || shifted("reset_point"))) {
      rule("reset point + hysteresis \u2264 set point", v.set_point - v.reset_point - rules.hysteresis);
    }
    if (has("supply_on", "supply_off") && (shifted("supply_on") || shifted("supply_off"))) {
      rule("supply on + least band \u2264 supply off", v.supply_off - v.supply_on - rules.band);
      rule("supply off \u2264 supply on + widest band", rules.band_most - v.supply_off + v.supply_on);
    }
    ["set_point", "reset_point", "supply_on"].filter(function (n) { return has(n); }).forEach(function (n) {
      if (rules.needed !== undefined) { rule("vacuum that the load needs \u2264 " + t.names[n].toLowerCase(), v[n] - rules.needed, low(n) - rules.needed); }
      else if (shifted(n)) { rule("no load given: " + t.names[n].toLowerCase() + " not lowered", v[n] - t.now[n], v[n] - t.high[n]); }
    });
    if (rules.open_level !== undefined && shifted("set_point")) { rule("open cup + margin \u2264 set point", v.set_point - rules.open_level); }
    if (rules.point_most !== undefined && shifted("set_point")) { rule("set point \u2264 weakest vacuum reached \u2212 margin", rules.point_most - v.set_point); }
    if (rules.off_most !== undefined && has("supply_off") && shifted("supply_off")) { rule("supply off \u2264 weakest vacuum reached \u2212 margin", rules.off_most - v.supply_off); }
    if (rules.dip_level !== undefined && shifted("reset_point")) { rule("reset point \u2264 deepest healthy dip \u2212 margin", rules.dip_level - v.reset_point); }
    return { bad: bad, unsure: unsure };
  }

  function shown(value) { return (t.negative ? -1 : 1) * value / t.unit_kpa; }
  function places() { return Math.max(0, Math.min(4, Math.ceil(-Math.log10(t.step / t.unit_kpa) - 1e-9))); }
  function minus(text) { return text.replace("-", "\u2212"); }
  function typed(value) { return shown(value).toFixed(places()); }
  function figure(value, digits, unit) { return value === null || value === undefined ? "not given" : minus(value.toFixed(digits)) + unit; }

  function entered(name) {
    var form = t.entry[name];
    if (!form) { return typed(now[name]); }
    var parts = form.split(" "), gap = (now[name] - now[parts[1]]) * (parts[0] === "below" ? -1 : 1);
    return (gap / t.unit_kpa).toFixed(places());
  }

  function lines(old, next) {
    var list = [["Part present after", old.evacuation, next.evacuation, 3, "\u00a0s", 1], ["Closed picks missed", old.missed, next.missed, 0, "\u00a0%", 100],
      ["Holds that lose the output", old.drops, next.drops, 0, "\u00a0%", 100], ["Needless output changes per hold", old.edges, next.edges, 1, "", 1]];
    if (t.now.supply_on !== undefined && t.now.supply_off !== undefined) {
      list.push(["Supply changes per hold", old.switches, next.switches, 1, "", 1], ["Supply changes per hour", old.switches, next.switches, 0, "", t.holds_per_hour]);
      list.push(["Supply on per hold", old.air, next.air, 2, "\u00a0s", 1]);
      if (t.flow_l_min) { list.push(["Air per hold", old.air, next.air, 2, "\u00a0L ANR", t.flow_l_min / 60]); }
    }
    return list;
  }

  function draw() {
    var old = effects(t.now), next = effects(now), found = lacks(now), bad = found.bad, unsure = found.unsure;
    rows.replaceChildren();
    lines(old, next).forEach(function (l) {
      var row = document.createElement("tr"), head = document.createElement("th");
      head.scope = "row"; head.className = "cell"; head.textContent = l[0]; row.append(head);
      [l[1], l[2]].forEach(function (v) {
        var cell = document.createElement("td");
        cell.className = "n"; cell.textContent = figure(v === null ? null : v * l[5], l[3], l[4]); row.append(cell);
      });
      rows.append(row);
    });
    var text = bad.length ? "Breaks: " + bad.join("; ") + "." : "";
    if (unsure.length) { text += (text ? " " : "") + "Not sure to hold, since settings in force are known only roughly: " + unsure.join("; ") + "."; }
    if (impossible(now).length) { text += " No device can hold these settings, so nothing is predicted."; }
    else if (never(now)) { text += (text ? " " : "") + "Hardly any pick would reach the set point, so there is no hold to tell of."; }
    if (said.textContent !== text) { said.textContent = text; }
    document.getElementById("try-beyond").hidden = !beyond(now) || impossible(now).length > 0;
    said.hidden = !text; fine.hidden = !!(bad.length || unsure.length); copy.disabled = fine.hidden;
    names.forEach(function (n) {
      box.querySelector("[data-slide=" + n + "]").value = now[n];
      box.querySelector("[data-slide=" + n + "]").setAttribute("aria-valuetext", typed(now[n]) + " " + t.shown_unit);
      var field = box.querySelector("[data-box=" + n + "]");
      if (document.activeElement !== field) { field.value = typed(now[n]); }
      box.querySelector("[data-note=" + n + "]").textContent = "now " + minus(typed(t.now[n])) + (t.entry[n] ? "; enter " + entered(n) + " " + t.entry[n].replace(/_/g, " ") : "");
      var line = document.getElementById("line-" + n);
      if (line) { line.setAttribute("d", "M0 " + (1000 * (1 - now[n] / Number(line.dataset.high))).toFixed(1) + "H1000"); }
    });
  }

  function place(name, value) {
    now[name] = Math.max(0, Math.round(value / t.step) * t.step);
    draw();
    clearTimeout(timer);
    timer = setTimeout(function () { kit.tell(said.hidden ? "Every rule holds" : said.textContent); }, 400);
  }

  names.forEach(function (n) {
    var slide = box.querySelector("[data-slide=" + n + "]"), field = box.querySelector("[data-box=" + n + "]");
    var most = Math.max.apply(null, tables.point.concat(tables.off, names.map(function (m) { return t.now[m]; })));
    slide.min = 0; slide.max = Math.ceil(most / t.step) * t.step; slide.step = t.step;
    field.step = t.step / t.unit_kpa;
    slide.addEventListener("input", function () { place(n, Number(slide.value)); });
    field.addEventListener("change", function () { if (field.value !== "") { place(n, Math.abs(Number(field.value)) * t.unit_kpa); } });
    box.querySelector("[data-less=" + n + "]").addEventListener("click", function () { place(n, now[n] - t.step); });
    box.querySelector("[data-more=" + n + "]").addEventListener("click", function () { place(n, now[n] + t.step); });
  });
  document.getElementById("try-now").addEventListener("click", function () { now = Object.assign({}, t.now); draw(); });
  document.getElementById("try-suggested").addEventListener("click", function () { now = Object.assign({}, t.suggested); draw(); });
  copy.addEventListener("click", function () {
    var text = names.map(function (n) { return t.names[n] + "\t" + entered(n) + "\t" + (t.entry[n] || ""); }).join("\n");
    if (navigator.clipboard) { navigator.clipboard.writeText(text).then(function () { kit.tell("copied"); copy.textContent = "Copied"; }, function () {}); }
  });
  if (t.asked) { document.getElementById("try-asked").addEventListener("click", function () { now = Object.assign({}, t.asked); draw(); }); }
  document.getElementById("try-suggested").hidden = names.every(function (n) { return Math.abs(t.suggested[n] - t.now[n]) < 1e-9; });
  now = Object.assign({}, t.asked || t.suggested);
  box.hidden = false;
  draw();
  kit.onUnit(draw);
}());
