import { refuse, type Refusal } from '../numeric';

/** A confidence level: strictly between 0 and 1. */
export function checkLevel(level: number): Refusal | null {
  if (level > 0 && level < 1) return null;
  return refuse('wrong-level', `level is ${level}; it must lie between 0 and 1, as 0.95 does.`);
}
