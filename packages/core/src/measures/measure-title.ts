import type { MeasureDefinition } from './definition';

/** `Co-Gn, mandibular length`; the name alone where the code says the same. */
export function measureTitle({ code, name }: Pick<MeasureDefinition, 'code' | 'name'>): string {
  if (code.toLowerCase() === name.toLowerCase()) return name;
  return `${code}, ${name.charAt(0).toLowerCase()}${name.slice(1)}`;
}
