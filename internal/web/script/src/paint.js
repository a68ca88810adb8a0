// What all charts share: colours of the style sheet, and elements.

// css is a colour of the style sheet by its name.
export const css = (name) => getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();

// faded is a colour of the style sheet at an opacity.
export function faded(hex, alpha) {
  return hex + Math.round(alpha * 255).toString(16).padStart(2, "0");
}

export function element(name, className) {
  const e = document.createElement(name);
  e.className = className;
  return e;
}

// plainNumbers writes ticks as the drawings do: without a mark at the thousands.
export function plainNumbers(u, ticks) {
  return ticks.map((v) => String(v).replace("-", "\u2212"));
}
