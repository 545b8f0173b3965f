/** Keys as JSON text; there are as many as the schemas have. */
const QUOTED = new Map<string, string>();

/** JSON without spaces, with the keys of every object in code-unit order, so that equal values give equal text. */
export function canonicalJson(value: unknown): string {
  if (typeof value === 'string') return JSON.stringify(value);
  if (typeof value === 'number' && Number.isFinite(value)) return String(value);
  if (value === null || typeof value !== 'object') return JSON.stringify(value);
  let text = '';
  if (Array.isArray(value)) {
    for (const member of value) text += text === '' ? canonicalJson(member) : `,${canonicalJson(member)}`;
    return `[${text}]`;
  }
  // Without a comparison of its own, sort compares code units.
  for (const key of Object.keys(value).sort()) {
    const member: unknown = Reflect.get(value, key);
    text += `${text === '' ? '' : ','}${quoted(key)}:${canonicalJson(member)}`;
  }
  return `{${text}}`;
}

const MOST_QUOTED = 1_000;

function quoted(key: string): string {
  const known = QUOTED.get(key);
  if (known !== undefined) return known;
  const text = JSON.stringify(key);
  // Made-up keys must not fill the memory.
  if (QUOTED.size < MOST_QUOTED) QUOTED.set(key, text);
  return text;
}
