import { z } from 'zod';
import type { MaturityStage } from './vocabulary';

/**
 * Stages of maturity in the three groups in which they are customarily reported: CS1 and CS2 before the peak of
 * growth, CS3 and CS4 around it, CS5 and CS6 after it.
 * Source: Baccetti, Franchi and McNamara 2005; the 2018 user guide groups them in the same way.
 */
export const maturityGroupSchema = z.enum(['before-peak', 'around-peak', 'after-peak']);
export type MaturityGroup = z.infer<typeof maturityGroupSchema>;

const GROUP_OF_STAGE = {
  CS1: 'before-peak',
  CS2: 'before-peak',
  CS3: 'around-peak',
  CS4: 'around-peak',
  CS5: 'after-peak',
  CS6: 'after-peak',
} as const satisfies Record<MaturityStage, MaturityGroup>;

/** The group of a stage. */
export function maturityGroupOf(stage: MaturityStage): MaturityGroup {
  return GROUP_OF_STAGE[stage];
}
