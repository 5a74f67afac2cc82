// The stores' forms show only the fields of the chosen way to tell an amount. Without scripts all of them show,
// and only those of the chosen way are read.
function fit(form) {
  const way = form.querySelector("select[name='way']");
  if (!way) return;
  for (const part of form.querySelectorAll("[data-ways]")) {
    part.hidden = !part.dataset.ways.split(" ").includes(way.value);
  }
}

// A column's head becomes a button that sorts its rows, by number where every cell begins with one.
function sortable(table) {
  if (table.dataset.awake || table.tBodies[0].rows.length < 3) return;
  table.dataset.awake = "true";
  const heads = [...table.tHead.rows[0].cells];
  const number = (text) => (/^none/.test(text) ? 0 : parseFloat(text.replace(/,/g, "")));
  heads.forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = head.textContent;
    head.replaceChildren(button);
    button.addEventListener("click", () => {
      const down = head.getAttribute("aria-sort") === "ascending";
      for (const other of heads) other.removeAttribute("aria-sort");
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      const text = (row) => row.cells[column].textContent.trim();
      const rows = [...table.tBodies[0].rows];
      const numeric = rows.every((row) => !text(row) || !Number.isNaN(number(text(row))));
      rows.sort((a, b) => (numeric ? (number(text(a)) || 0) - (number(text(b)) || 0) : text(a).localeCompare(text(b))));
      table.tBodies[0].append(...(down ? rows.reverse() : rows));
    });
  });
}

function wake() {
  for (const table of document.querySelectorAll("table[data-sortable]")) sortable(table);
  for (const form of document.querySelectorAll("form.store-form:not([data-awake])")) {
    form.dataset.awake = "true";
    fit(form);
    form.addEventListener("change", () => fit(form));
  }
  // On a phone the row of pages is wider than the screen.
  const here = document.querySelector(".ways a[aria-current]");
  here?.parentElement.parentElement.scrollTo({ left: here.offsetLeft - 40 });
  // The first field that could not be taken is where the reader has to go next.
  const fault = document.querySelector("form.store-form [aria-invalid]");
  if (fault && document.activeElement === document.body) fault.focus();
}

document.addEventListener("mulchwright:fresh", wake);
wake();
