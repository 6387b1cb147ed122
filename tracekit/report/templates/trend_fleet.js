"use strict";
(function () {
  var tools = document.querySelector("[data-fleet]");
  var table = document.getElementById("fleet");
  if (!tools || !table) { return; }
  tools.hidden = false;
  var body = table.tBodies[0];
  var rows = Array.prototype.slice.call(body.rows);
  var words = rows.map(function (row) { return (row.dataset.name + " " + row.dataset.group).toLowerCase(); });
  var place = new Map(rows.map(function (row, at) { return [row, at]; }));
  var names = new Intl.Collator(undefined, { numeric: true });
  var find = document.getElementById("find");
  var state = document.getElementById("state");
  var order = document.getElementById("order");
  var all = document.getElementById("all");
  var live = document.getElementById("live");
  var most = Number(tools.dataset.fleet);
  var sorted = rows;

  // Thousands of rows are laid out only when they are asked for; until then they are there, but hidden.
  function show() {
    var word = find.value.trim().toLowerCase();
    var found = 0;
    sorted.forEach(function (row) {
      var keep = (!state.value || row.dataset.state === state.value) && (!word || words[place.get(row)].indexOf(word) >= 0);
      found += keep ? 1 : 0;
      row.hidden = !keep || found > most;
    });
    all.hidden = found <= most;
    all.textContent = "Show all " + found;
    var shown = Math.min(found, most);
    live.textContent = shown + " of " + rows.length + " stations shown" + (found > shown ? ", " + found + " found" : "");
  }

  function sort() {
    var key = order.value;
    sorted = rows.slice();
    if (key === "last") {
      sorted.sort(function (a, b) { return Number(a.dataset.when) - Number(b.dataset.when); });
    } else if (key) {
      sorted.sort(function (a, b) {
        var one = a.dataset[key];
        var two = b.dataset[key];
        return (one ? 0 : 1) - (two ? 0 : 1) || names.compare(one, two);
      });
    }
    rows.forEach(function (row) { row.hidden = true; });
    body.append.apply(body, sorted);
    show();
  }

  function showAll() {
    most = rows.length;
    show();
  }

  find.addEventListener("input", show);
  state.addEventListener("change", show);
  order.addEventListener("change", sort);
  all.addEventListener("click", showAll);
  window.addEventListener("beforeprint", showAll);
  if (rows.length > most) { show(); }
})();
