"use strict";
(function () {
  var box = document.getElementById("data");
  var data = JSON.parse(box.textContent);
  var live = document.getElementById("live");
  var chosen = data.unit;
  var watchers = [];

  function place(size) { return Math.floor(Math.log10(Math.abs(size)) + 1e-12); }

  function digits(value, at) {
    at = Math.max(at, -6);
    var size = Math.abs(value), ten = Math.pow(10, Math.abs(at)), whole = Math.floor((at < 0 ? size * ten : size / ten) + 0.5);
    var text = at < 0 ? (whole / ten).toFixed(-at) : (whole * ten).toFixed(0);
    var parts = text.split(".");
    if (parts[0].length >= 5) { parts[0] = parts[0].replace(/\B(?=(\d{3})+$)/g, "\u202f"); }
    return (value < 0 && /[1-9]/.test(text) ? "\u2212" : "") + parts.join(".");
  }

  // The rules of words.py: digits by the interval's half-width, two where it begins with 1, bounds rounded outward; without interval a place counts that
  // is worth at least half of the step's own.
  function say(item, unit) {
    var factor = data.units[unit];
    var name = unit + item.u.slice(3);
    function scaled(key) { return item[key] === undefined ? null : Number(item[key]) * factor; }
    var value = scaled("v"), low = scaled("l"), high = scaled("h"), step = Number(item.s);
    var head = item.b ? item.b + " " : "";
    var tail = item.n === undefined ? "\u00a0" + name : "";
    if (low === null || high === null) {
      var at = step > 0 ? Math.ceil(place(step) + Math.log10(0.5 * factor) - 1e-9) : value ? place(value) - 2 : 0;
      return head + digits(value, at) + tail;
    }
    var half = Math.abs(high - low) / 2, most = Math.max(Math.abs(low), Math.abs(high));
    var p = half > 0 ? place(half / 2) : most ? place(most) - 2 : 0;
    var u = Math.pow(10, p);
    if (item.i !== undefined) { return head + digits(value, p) + tail; }
    return head + digits(value, p) + tail + " (" + digits(Math.floor(low / u + 1e-9) * u, p) + "\u00a0to\u00a0" +
      digits(Math.ceil(high / u - 1e-9) * u, p) + ")";
  }

  // The rules of plot.py: round steps of 1, 2 or 5, at most about five.
  function ticks(low, high, factor, most) {
    var a = low * factor, b = high * factor, raw = (b - a) / (most || 5), power = Math.pow(10, Math.floor(Math.log10(raw)));
    if (!(raw > 0)) { return []; }
    var step = [1, 2, 5, 10].map(function (m) { return m * power; }).find(function (s) { return s >= raw * 0.999; });
    var found = [], first = Math.ceil(a / step - 1e-9), last = Math.floor(b / step + 1e-9);
    for (var k = first; k <= last; k += 1) {
      found.push({ value: k * step / factor, text: digits(k * step, Math.min(0, Math.floor(Math.log10(step) + 1e-9))) });
    }
    return found;
  }

  function redraw(group, unit) {
    var low = Number(group.dataset.lo), high = Number(group.dataset.hi), upright = group.classList.contains("axis-y");
    var grid = group.querySelector("line"), word = group.querySelector("text");
    if (!word) { return; }
    var line = grid && grid.cloneNode(), text = word.cloneNode();
    group.replaceChildren();
    ticks(low, high, data.units[unit]).forEach(function (t) {
      var share = (t.value - low) / (high - low) * 100, at = (upright && group.dataset.down === "0" ? 100 - share : share) + "%";
      if (line && upright) {
        var rule = line.cloneNode();
        rule.setAttribute("y1", at);
        rule.setAttribute("y2", at);
        group.append(rule);
      }
      var label = text.cloneNode();
      label.setAttribute(upright ? "y" : "x", at);
      label.textContent = t.text;
      group.append(label);
    });
  }

  function switchUnit(unit) {
    chosen = unit;
    document.querySelectorAll(".q").forEach(function (el) { el.textContent = say(el.dataset, unit); });
    document.querySelectorAll("[data-unit]").forEach(function (el) { el.textContent = unit + el.dataset.unit.slice(3); });
    document.querySelectorAll("g[data-lo]").forEach(function (group) { redraw(group, unit); });
    watchers.forEach(function (act) { act(unit); });
  }

  function tell(text) { live.textContent = ""; live.textContent = text; }

  function select(el) {
    var range = document.createRange();
    range.selectNodeContents(el);
    var picked = getSelection();
    picked.removeAllRanges();
    picked.addRange(range);
  }

  function copied(button, word) {
    var note = button.querySelector(".done");
    note.textContent = word;
    tell((button.dataset.copy || "text") + " " + word);
  }

  // The text stands in the button itself, or in the element that it names.
  function copy(button) {
    var shown = document.getElementById(button.dataset.from) || button.querySelector("b"), text = button.dataset.copy || shown.textContent;
    if (!navigator.clipboard) { select(shown); copied(button, "selected"); return; }
    navigator.clipboard.writeText(text).then(
      function () { copied(button, "copied"); },
      function () { select(shown); copied(button, "selected"); });
  }

  function save(name, text) {
    var link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob(["\ufeff" + text], { type: "text/csv;charset=utf-8" }));
    link.download = name;
    link.click();
    setTimeout(function () { URL.revokeObjectURL(link.href); }, 1000);
  }

  // A cell that a spreadsheet would take for a formula is given an apostrophe; plain numbers are none.
  function cell(text) {
    var safe = /^\s*[=+\-@\t\r]/.test(text) && !/^[-+]?\d+(\.\d+)?([eE][-+]?\d+)?$/.test(text) ? "'" + text : text;
    return /[",\r\n;]/.test(safe) ? '"' + safe.replace(/"/g, '""') + '"' : safe;
  }

  function tableCsv(table) {
    return Array.from(table.rows).map(function (row) {
      return Array.from(row.cells).map(function (c) {
        return cell(c.textContent.trim().replace(/\u2212/g, "-").replace(/[\u202f]/g, ""));
      }).join(",");
    }).join("\r\n") + "\r\n";
  }

  function addDownloads() {
    document.querySelectorAll("details table[data-csv]").forEach(function (table) {
      var button = document.createElement("button");
      button.type = "button";
      button.textContent = "Save these numbers (CSV)";
      button.addEventListener("click", function () { save(table.dataset.csv + ".csv", tableCsv(table)); });
      table.closest("details").appendChild(button);
    });
  }

  var units = document.getElementById("unit");
  units.parentElement.hidden = !document.querySelector(".q,[data-unit]");
  units.addEventListener("change", function () {
    switchUnit(units.value);
    tell("Pressures now in " + units.value);
  });
  document.querySelectorAll("button[data-copy],button[data-from]").forEach(function (button) {
    button.addEventListener("click", function () { copy(button); });
  });
  addDownloads();
  window.tracekit = { data: data, say: say, digits: digits, ticks: ticks, tell: tell, save: save, cell: cell,
    unit: function () { return chosen; }, onUnit: function (act) { watchers.push(act); } };
}());
