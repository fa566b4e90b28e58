"use strict";
for (const table of document.querySelectorAll("table.sortable")) {
  const body = table.tBodies[0];
  const behind = new Map([...body.querySelectorAll("tr.behind")].map((row) => [row.previousElementSibling, row]));
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
      const rows = [...body.rows].filter((row) => !row.classList.contains("behind"));
      body.append(...rows.sort(order).flatMap((row) => (behind.has(row) ? [row, behind.get(row)] : [row])));
    });
  });
  if (behind.size < 20) continue; // rows that an eye does not take in at once
  const said = (row) => [...row.cells, ...behind.get(row).querySelectorAll("dd")].map((cell) => cell.textContent);
  const words = new Map([...behind.keys()].map((row) => [row, said(row).join("\n").toLowerCase()]));
  const label = document.createElement("label");
  const field = document.createElement("input");
  field.type = "search";
  label.className = "filter";
  label.append("only rows with ", field);
  table.parentElement.before(label);
  field.addEventListener("input", () => {
    for (const [row, text] of words) {
      row.hidden = behind.get(row).hidden = !text.includes(field.value.trim().toLowerCase());
    }
  });
}
