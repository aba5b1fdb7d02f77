// Elements and their text. There is no other way here to put anything on the page, and no way for text to
// become markup: what came off the air stays text.

const SVG = "http://www.w3.org/2000/svg";

function built(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes || {})) {
    if (value !== null && value !== undefined) element.setAttribute(name, value);
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

export function el(tag, attributes, ...children) {
  return built(document.createElement(tag), attributes, children);
}

export function svg(tag, attributes, ...children) {
  return built(document.createElementNS(SVG, tag), attributes, children);
}

export function byId(id) {
  return document.getElementById(id);
}

// Put children in place of what is there; say whether there is anything.
export function fill(id, ...children) {
  byId(id).replaceChildren(...children);
  return children.length > 0;
}

// Text, and only a touch of the page when it is another one, so that a screen reader hears news alone.
export function say(id, text) {
  const element = byId(id);
  if (element.textContent !== text) element.textContent = text;
}

// A table whose first column names the row. A column: {title, cell(row), className, wide}.
export function table(columns, rows, rowClass) {
  const classes = (column) => [column.className, column.wide && "wide"].filter(Boolean).join(" ") || null;
  const head = columns.map((c) => el("th", { scope: "col", class: classes(c) }, c.title));
  const body = rows.map((row) =>
    el("tr", { class: rowClass ? rowClass(row) : null },
      ...columns.map((c, index) =>
        el(index ? "td" : "th", { scope: index ? null : "row", class: classes(c) }, c.cell(row)))));
  return el("table", null, el("thead", null, el("tr", null, ...head)), el("tbody", null, ...body));
}
