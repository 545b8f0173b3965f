const WIDTH = 100;

/** JSON for people and programs alike: two spaces a level, and on one line what fits there or is a list of values. */
export function jsonText(value: unknown, indent = ''): string {
  if (typeof value !== 'object' || value === null) return JSON.stringify(value);
  const flat = JSON.stringify(value, null, 1).replaceAll(/\n\s*/g, ' ');
  if (indent.length + flat.length <= WIDTH || isListOfValues(value)) return flat;
  const deeper = `${indent}  `;
  if (Array.isArray(value)) {
    return `[\n${value.map((entry) => deeper + jsonText(entry, deeper)).join(',\n')}\n${indent}]`;
  }
  const lines = Object.entries(value).map(
    ([key, entry]) => `${deeper}${JSON.stringify(key)}: ${jsonText(entry, deeper)}`,
  );
  return `{\n${lines.join(',\n')}\n${indent}}`;
}

function isListOfValues(value: object): boolean {
  return Array.isArray(value) && value.every((entry) => typeof entry !== 'object' || entry === null);
}
