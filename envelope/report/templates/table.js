// A table whose headings are buttons: sorts by the column of the one that was pressed.
"use strict";

function sort(button, body, rows) {
  const head = button.closest("th"), up = head.getAttribute("aria-sort") !== "ascending";
  head.closest("tr").querySelectorAll("th[aria-sort]").forEach((th) => th.removeAttribute("aria-sort"));
  head.setAttribute("aria-sort", up ? "ascending" : "descending");
  const value = (row) => row.cells[head.cellIndex].dataset.key ?? row.cells[head.cellIndex].textContent;
  const order = (a, b) => {
    const [x, y] = [value(a), value(b)];
    if (x === "" || y === "") return (x === "") - (y === ""); // what has no value comes last
    const numbers = Number(x) - Number(y);
    return (up ? 1 : -1) * (Number.isNaN(numbers) ? x.localeCompare(y, "en") : numbers);
  };
  rows.sort(order);
  body.append(...rows);
}
