// The numbers of a chart, one press away: a table, and the same as CSV.
import { rowsOf } from "./reader.js";

/** Return rows as CSV text; a cell with a comma or a quote is quoted. */
export function csvOf(rows) {
  const cell = (text) => (/[",\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
  return `${rows.map((row) => row.map(cell).join(",")).join("\r\n")}\r\n`;
}

function tableOf(rows) {
  const table = document.createElement("table");
  rows.forEach((row, i) => {
    const tr = table.insertRow();
    for (const text of row) {
      const cell = document.createElement(i ? "td" : "th");
      if (!i) cell.scope = "col";
      cell.textContent = text;
      tr.append(cell);
    }
  });
  return table;
}

/** Open a dialog with a chart's numbers. */
export function showNumbers(dialog, spec, name) {
  const rows = rowsOf(spec);
  dialog.querySelector(".numbers").replaceChildren(tableOf(rows));
  const link = dialog.querySelector("a[download]");
  URL.revokeObjectURL(link.href);
  link.href = URL.createObjectURL(new Blob([csvOf(rowsOf(spec, 301))], { type: "text/csv" }));
  link.download = `${name}.csv`;
  dialog.showModal();
}
