// Improves pages that work without it: values under the pointer, sorting, printing.
"use strict";

// Charts: the words of the point in hand stand below the picture.
for (const figure of document.querySelectorAll("figure.trend")) {
  const readout = figure.querySelector(".readout");
  const show = (event) => {
    const mark = event.target.closest(".mark");
    readout.textContent = mark ? mark.getAttribute("aria-label") : "";
  };
  for (const kind of ["pointerover", "focusin", "click"]) figure.addEventListener(kind, show);
}

// Tables: a heading with data-sort orders the rows by the cells' data-key, or by their words.
for (const heading of document.querySelectorAll("th[data-sort]")) {
  heading.tabIndex = 0;
  const sort = () => {
    const table = heading.closest("table");
    const column = heading.cellIndex;
    const up = heading.getAttribute("aria-sort") !== "ascending";
    const key = (row) => row.cells[column].dataset.key ?? row.cells[column].textContent.trim();
    const compare = new Intl.Collator(undefined, { numeric: true }).compare;
    const numbers = (a, b) => (a === "" || b === "" || isNaN(a) || isNaN(b) ? compare(a, b) : a - b);
    for (const other of table.querySelectorAll("th[aria-sort]")) other.removeAttribute("aria-sort");
    heading.setAttribute("aria-sort", up ? "ascending" : "descending");
    // Within each group, whose own heading stays on top.
    for (const body of table.tBodies) {
      const rows = [...body.rows].filter((row) => !row.querySelector("th[scope=rowgroup]"));
      body.append(...rows.sort((a, b) => (up ? 1 : -1) * numbers(key(a), key(b))));
    }
  };
  heading.addEventListener("click", sort);
  heading.addEventListener("keydown", (event) => {
    if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      sort();
    }
  });
}

for (const button of document.querySelectorAll("button[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}

// A sheet being typed: Enter goes down the column of numbers, as on paper.
for (const lines of document.querySelectorAll("[data-lines]")) {
  lines.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !event.target.matches(".printed")) return;
    event.preventDefault();
    const all = [...lines.querySelectorAll(".printed")];
    all[all.indexOf(event.target) + 1]?.focus();
  });
}

// Plans: while doses are typed, the server judges them and the page shows what it says.
// The server answers with the whole page; only what is marked as fresh is taken from it.
for (const form of document.querySelectorAll("form[data-live]")) {
  let timer = 0;
  let asked = 0;
  const check = async () => {
    const turn = ++asked;
    let page;
    try {
      const answer = await fetch(form.dataset.live, { method: "POST", body: new URLSearchParams(new FormData(form)) });
      if (!answer.headers.get("content-type")?.startsWith("text/html") || ![200, 422].includes(answer.status)) return;
      page = new DOMParser().parseFromString(await answer.text(), "text/html");
    } catch {
      return; // Out of reach: the buttons still work once it is back.
    }
    if (turn !== asked) return;
    const name = (details) => details.id || details.firstElementChild?.textContent;
    const open = new Set([...document.querySelectorAll("details[open]")].map(name));
    for (const old of document.querySelectorAll("[data-fresh]")) {
      const fresh = page.getElementById(old.id);
      if (!fresh) continue;
      for (const folded of fresh.querySelectorAll("details")) {
        if (open.has(name(folded))) folded.open = true;
      }
      if (old.innerHTML !== fresh.innerHTML) old.replaceWith(document.adoptNode(fresh));
    }
    for (const field of form.querySelectorAll("input[inputmode]")) {
      const judged = page.getElementsByName(field.name)[0];
      for (const said of ["aria-invalid", "aria-describedby"]) {
        const value = judged?.getAttribute(said);
        if (value) field.setAttribute(said, value);
        else field.removeAttribute(said);
      }
    }
  };
  form.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(check, 350);
  });
}
