import { z } from 'zod';
import { openProcedure, router } from '../trpc';
import { jobSchema, questionSchema } from './question';

/** The report on a question: a job like its answer; the texts are fetched when it is done. */
export const reportRouter = router({
  start: openProcedure
    .input(z.strictObject({ question: questionSchema, withPool: z.boolean() }))
    .mutation(async ({ ctx, input: { question, withPool } }) => ({
      job: ctx.host.reports.start(await ctx.open.reportStudy(withPool), ctx.open.asOfToday(question)),
    })),
  poll: openProcedure.input(jobSchema).query(({ ctx, input }) => {
    const current = ctx.host.reports.poll(input.job);
    return current.state === 'done' ? { state: current.state, answer: null } : current;
  }),
  stop: openProcedure.input(jobSchema).mutation(({ ctx, input }) => ctx.host.reports.stop(input.job)),
  texts: openProcedure.input(jobSchema).query(({ ctx, input }) => ctx.host.reports.answer(input.job)),
});
