const WIDTH = 100;

/** JSON for people and programs alike: two spaces a level, on one line what fits there, long lists of values filled up. */
export function jsonText(value: unknown, indent = ''): string {
  if (typeof value !== 'object' || value === null) return JSON.stringify(value);
  const flat = flatText(value);
  if (indent.length + flat.length <= WIDTH) return flat;
  const deeper = `${indent}  `;
  if (Array.isArray(value)) {
    const entries: unknown[] = value;
    const inside = entries.every(isPlain)
      ? filled(entries, deeper)
      : entries.map((entry) => deeper + jsonText(entry, deeper)).join(',\n');
    return `[\n${inside}\n${indent}]`;
  }
  const lines = Object.entries(value).map(
    ([key, entry]) => `${deeper}${JSON.stringify(key)}: ${jsonText(entry, deeper)}`,
  );
  return `{\n${lines.join(',\n')}\n${indent}}`;
}

function isPlain(value: unknown): boolean {
  return typeof value !== 'object' || value === null;
}

function flatText(value: object): string {
  if (Array.isArray(value)) return `[${value.map((entry: unknown) => flat(entry)).join(', ')}]`;
  const entries = Object.entries(value).map(([key, entry]) => `${JSON.stringify(key)}: ${flat(entry)}`);
  return entries.length === 0 ? '{}' : `{ ${entries.join(', ')} }`;
}

function flat(value: unknown): string {
  return typeof value === 'object' && value !== null ? flatText(value) : JSON.stringify(value);
}

/** Values one after the other, in lines as long as they may be. */
function filled(values: readonly unknown[], indent: string): string {
  const lines: string[] = [];
  let line = indent;
  values.forEach((value, i) => {
    const text = JSON.stringify(value) + (i < values.length - 1 ? ', ' : '');
    if (line.length + text.trimEnd().length > WIDTH && line !== indent) {
      lines.push(line.trimEnd());
      line = indent;
    }
    line += text;
  });
  return [...lines, line].join('\n');
}
