/** How often the random faults are tried; more for a long run over night, fewer for a glance. */
export const FAULT_ROUNDS = Number(process.env['LONGHOLD_FAULT_ROUNDS'] ?? 40);
