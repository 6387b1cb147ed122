"use strict";
(function () {
  var tools = document.querySelector("[data-fleet]");
  var table = document.getElementById("fleet");
  if (!tools || !table) { return; }
  tools.hidden = false;
  var body = table.tBodies[0];
  var rows = Array.prototype.slice.call(body.rows);
  var find = document.getElementById("find");
  var state = document.getElementById("state");
  var order = document.getElementById("order");
  var live = document.getElementById("live");

  function filter() {
    var word = find.value.trim().toLowerCase();
    var shown = 0;
    rows.forEach(function (row) {
      var text = (row.dataset.name + " " + row.dataset.group).toLowerCase();
      var keep = (!state.value || row.dataset.state === state.value) && (!word || text.indexOf(word) >= 0);
      row.hidden = !keep;
      shown += keep ? 1 : 0;
    });
    live.textContent = shown + " of " + rows.length + " stations shown";
  }

  function sort() {
    var key = order.value;
    var sorted = rows.slice();
    if (key === "last") {
      sorted.sort(function (a, b) { return Number(a.dataset.when) - Number(b.dataset.when); });
    } else if (key) {
      sorted.sort(function (a, b) { return a.dataset[key].localeCompare(b.dataset[key], undefined, { numeric: true }); });
    }
    body.replaceChildren.apply(body, sorted);
  }

  find.addEventListener("input", filter);
  state.addEventListener("change", filter);
  order.addEventListener("change", sort);
})();
