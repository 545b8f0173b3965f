/** Sizes that a report can be printed on. */
export const PAPERS = ['A4', 'Letter'] as const;
export type Paper = (typeof PAPERS)[number];

/** Countries that print on Letter; everybody else has A4. */
const LETTER_COUNTRIES = ['US', 'CA', 'MX', 'PH', 'CL', 'CO', 'VE'];

/** The paper that a country (ISO 3166, two letters) prints on. */
export function paperOfCountry(country: string): Paper {
  return LETTER_COUNTRIES.includes(country) ? 'Letter' : 'A4';
}
