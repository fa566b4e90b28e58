"use strict";
for (const table of document.querySelectorAll("table.sortable")) {
  const body = table.tBodies[0];
  const headings = [...table.tHead.rows[0].cells];
  const key = (row, place) => {
    const cell = row.cells[place];
    if (!headings[place].classList.contains("number")) return cell.textContent;
    return cell.dataset.value === undefined ? NaN : Number(cell.dataset.value);
  };
  headings.forEach((heading, place) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...heading.childNodes);
    heading.append(button);
    button.addEventListener("click", () => {
      const sign = heading.getAttribute("aria-sort") === "ascending" ? -1 : 1;
      headings.forEach((other) => other.removeAttribute("aria-sort"));
      heading.setAttribute("aria-sort", sign === 1 ? "ascending" : "descending");
      const order = (one, other) => {
        const a = key(one, place), b = key(other, place);
        if (typeof a === "string") return sign * a.localeCompare(b, "en", { numeric: true });
        if (Number.isNaN(a) || Number.isNaN(b)) return Number.isNaN(a) - Number.isNaN(b);
        return sign * (a - b);
      };
      body.append(...[...body.rows].sort(order));
    });
  });
}
