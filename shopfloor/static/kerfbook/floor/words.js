/* Text of the scripts in the page's language: the page carries what its catalogue has for it, in English nothing. */

const words = JSON.parse(document.getElementById("script-words")?.textContent || "{}");
const filled = (text, values) => text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));

/** A message whose names in braces are filled from `values`. */
export const _ = (message, values = {}) => filled(words[message] ?? message, values);

/** The form of a message that goes with `n`, which is {n} in it. A catalogue's forms follow the last two digits. */
export function counted(one, many, n, values = {}) {
  const { forms, by } = words[one] ?? { forms: [one, many], by: null };
  const form = by ? by[n < 200 ? n : 100 + (n % 100)] : Number(n !== 1);
  return filled(forms[form], { n, ...values });
}
