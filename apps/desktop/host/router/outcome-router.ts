import {
  planningSchema,
  type OutcomeAnswer,
  type OutcomeSummary,
  type PatientOutcome,
} from '@longhold/core/answers';
import { patientCodeSchema } from '@longhold/core/records';
import { HostFailure } from '../failure';
import { openProcedure, router } from '../trpc';
import { jobSchema, questionSchema } from './question';

export const outcomeRouter = router({
  start: openProcedure.input(questionSchema).mutation(async ({ ctx, input }) => ({
    job: ctx.host.jobs.start(await ctx.open.keyedStudy(), ctx.open.asOfToday(input)),
  })),
  poll: openProcedure.input(jobSchema).query(({ ctx, input }) => {
    const current = ctx.host.jobs.poll(input.job);
    return current.state === 'done'
      ? { state: current.state, answer: withoutPatients(current.answer) }
      : current;
  }),
  stop: openProcedure.input(jobSchema).mutation(({ ctx, input }) => ctx.host.jobs.stop(input.job)),
  patients: openProcedure
    .input(jobSchema)
    .query(({ ctx, input }) => ctx.host.jobs.answer(input.job).patients.map(patientRow)),
  planning: openProcedure
    .input(jobSchema.extend({ input: planningSchema }))
    .query(({ ctx, input }) => ctx.host.planning(input.job, input.input)),
  worth: openProcedure.input(jobSchema).query(({ ctx, input }) => ctx.host.jobs.answer(input.job).worth),
  patient: openProcedure
    .input(jobSchema.extend({ code: patientCodeSchema }))
    .query(async ({ ctx, input }) => {
      const outcome = ctx.host.jobs.answer(input.job).patients.find(({ code }) => code === input.code);
      const { study } = await ctx.open.study();
      const history = study.find(({ patient }) => patient.code === input.code);
      if (outcome === undefined || history === undefined) {
        throw new HostFailure(
          'unknown-patient',
          `No patient ${input.code} is among those this question is about.`,
        );
      }
      return { history, outcome, course: await ctx.host.course(input.job, input.code) };
    }),
});

/** A group's answer without its patients, who are asked for by themselves. */
function withoutPatients({
  patients: _patients,
  worth: _worth,
  gains: _gains,
  rows: _rows,
  ...summary
}: OutcomeAnswer): OutcomeSummary {
  return summary;
}

function patientRow(outcome: PatientOutcome) {
  const { code, sex, protocol, expansion, gain, status, leftOut } = outcome;
  const followUp = outcome.visits.filter(({ kind, years }) => kind === 'follow_up' && (years ?? 0) > 0);
  const latest = followUp[followUp.length - 1];
  return {
    code,
    sex,
    protocol,
    expansion,
    gain: gain?.estimate ?? null,
    share: latest?.share?.estimate ?? null,
    verdict: status.verdict,
    reason: status.reason,
    lastYears: latest?.years ?? null,
    leftOut,
  };
}

/** How sure an answer is: a computation of its own, since it answers the question many times. */
export const sensitivityRouter = router({
  start: openProcedure.input(questionSchema).mutation(async ({ ctx, input }) => ({
    job: ctx.host.sensitivity.start(await ctx.open.keyedStudy(), ctx.open.asOfToday(input)),
  })),
  poll: openProcedure.input(jobSchema).query(({ ctx, input }) => ctx.host.sensitivity.poll(input.job)),
  stop: openProcedure.input(jobSchema).mutation(({ ctx, input }) => ctx.host.sensitivity.stop(input.job)),
});
