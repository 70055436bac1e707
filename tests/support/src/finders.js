// Finds what a person would find: by the words in sight. Each gives null where there is nothing.
const inSight = (element) => {
  if (!element?.isConnected) return false;
  const box = element.getBoundingClientRect();
  return box.width > 0 && box.height > 0 && getComputedStyle(element).visibility !== "hidden";
};
const words = (element) => (element?.innerText ?? element?.textContent ?? "").replace(/\s+/g, " ").trim();
// The first line of an action; the second says what it is about.
const actWords = (act) => {
  const about = words(act?.querySelector(".act-about"));
  const all = words(act);
  return about && all.endsWith(about) ? all.slice(0, -about.length).trim() : all;
};
// A dialog shuts off what lies behind it.
const ground = () => [...document.querySelectorAll("dialog[open]")].pop() ?? document;
const all = (css) => [...ground().querySelectorAll(css)].filter(inSight);
const nameOf = (element) => element.getAttribute("aria-label") ?? words(element);
const pageWords = () => (document.body?.innerText ?? "").replace(/\s+/g, " ").trim();
const best = (list, word, name) =>
  list.find((one) => name(one) === word) ?? list.find((one) => name(one).startsWith(word)) ?? list.find((one) => name(one).includes(word)) ?? null;
const findPressable = (word) =>
  best(all("button, a[href], summary, [role=button]").filter((one) => !one.disabled && one.getAttribute("aria-disabled") !== "true"), word, nameOf);
const findCss = (css) => all(css)[0] ?? null;
const fieldAmong = (labels, label) => {
  const found = best(labels, label, words);
  if (!found) return null;
  return found.htmlFor ? document.getElementById(found.htmlFor) : found.querySelector("input, select, textarea");
};
const findField = (label) => fieldAmong(all("label"), label);
const findFieldIn = (group, label) => {
  const found = best(all("fieldset"), group, (one) => words(one.querySelector("legend")));
  return found && fieldAmong([...found.querySelectorAll("label")], label);
};
const choose = (list, choice) => {
  if (!list?.options) return null;
  const options = [...list.options];
  const option = options.find((one) => words(one) === choice || one.value === choice) ?? options.find((one) => words(one).includes(choice));
  if (!option) return null;
  list.value = option.value;
  list.dispatchEvent(new Event("change", { bubbles: true }));
  return true;
};
const findTick = (label) => {
  const found = best(all("label").filter((one) => one.querySelector("input[type=checkbox], input[type=radio]")), label, words);
  return found?.querySelector("input") ?? null;
};
