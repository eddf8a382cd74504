// Drawings tell their values under the pointer and to the keyboard; tables sort and filter.
"use strict";

const told = document.getElementById("told");

function place(element) {
  const box = element.getBoundingClientRect(), width = told.offsetWidth, height = told.offsetHeight;
  const left = Math.min(box.right + 8, window.innerWidth - width - 8);
  const top = Math.min(Math.max(box.top, 8), window.innerHeight - height - 8);
  told.style.left = `${Math.max(left, 8)}px`;
  told.style.top = `${top}px`;
}

function values(drawing) {
  const places = [...drawing.querySelectorAll("title")]
    .map((title) => title.parentElement).filter((element) => element.localName !== "svg");
  for (const element of places) { // the browser's own hint would stand beside ours
    const title = element.querySelector("title");
    element.dataset.told = title.textContent;
    title.remove();
  }
  let current = null;
  const show = (element) => {
    if (current) current.classList.remove("shown");
    current = element;
    told.hidden = !element;
    if (!element) return;
    element.classList.add("shown");
    told.textContent = element.dataset.told;
    place(element);
  };
  drawing.addEventListener("pointerover", (event) => {
    show(event.target.closest("[data-told]"));
  });
  drawing.addEventListener("pointerleave", () => show(null));
  drawing.addEventListener("blur", () => show(null));
  drawing.addEventListener("keydown", (event) => {
    const way = ARROWS[event.key];
    if (event.key === "Escape") return show(null);
    if (!way || !places.length) return;
    event.preventDefault();
    const next = current ? neighbour(current, places, way) : places[0];
    next.scrollIntoView({ block: "nearest", inline: "nearest" });
    show(next);
  });
}

function filter(section) {
  const body = section.querySelector("tbody"), rows = [...body.rows];
  const field = section.querySelector("[data-filter]"), count = section.querySelector(".count");
  const apply = () => {
    const words = field.value.trim().toLowerCase().split(/\s+/).filter(Boolean);
    let left = 0;
    for (const row of rows) {
      const text = row.textContent.toLowerCase();
      row.hidden = !words.every((word) => text.includes(word));
      left += row.hidden ? 0 : 1;
    }
    count.textContent = `${left} of ${rows.length}`;
  };
  field.addEventListener("input", apply);
  section.querySelectorAll("th button").forEach((button) => {
    button.addEventListener("click", () => sort(button, body, rows));
  });
  apply();
}

document.querySelectorAll("[data-values]").forEach(values);
document.querySelectorAll("section:has(table)").forEach(filter);
document.documentElement.dataset.ready = "yes";
