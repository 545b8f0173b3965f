# Works out again, from a results.json alone, what a report says: retained shares, the conventional curve, the
# interval-censored curve, the growth clock, the fading part, cumulative incidences and Cox's ratios.
# Usage: Rscript results-again.R results.json; prints JSON.
# Packages: jsonlite, survival, lme4, cmprsk.
suppressMessages({
  library(jsonlite)
  library(survival)
  library(lme4)
  library(cmprsk)
})
results <- fromJSON(commandArgs(TRUE)[1], simplifyVector = FALSE)
exact <- lmerControl(
  optimizer = "bobyqa", optCtrl = list(rhoend = 1e-11, maxfun = 1e5), calc.derivs = FALSE,
  check.conv.singular = "ignore", check.scaleX = "ignore"
)
number <- function(x) if (is.null(x)) NA_real_ else as.numeric(x)

# Retained share of a year from single patients' gains: of the visits in the window the one nearest to the anniversary.
retained <- function(year) {
  pairs <- Filter(Negate(is.null), lapply(results$patients, function(patient) {
    if (is.null(patient$gain)) return(NULL)
    later <- Filter(function(visit) {
      years <- number(visit$years)
      visit$kind == "follow_up" && !is.null(visit$gain) && !is.na(years) && years > year - 0.5 && years <= year + 0.5 &&
        (is.null(patient$treatedAgainAt) || years <= patient$treatedAgainAt)
    }, patient$visits)
    if (length(later) == 0) return(NULL)
    away <- abs(vapply(later, function(visit) number(visit$years), 0) - year)
    c(patient$gain$estimate, later[[which.min(away)]]$gain$estimate)
  }))
  if (length(pairs) == 0) return(list(n = 0, share = NA))
  gains <- do.call(rbind, pairs)
  list(n = nrow(gains), share = mean(gains[, 2]) / mean(gains[, 1]))
}

at_risk <- Filter(function(patient) !is.null(patient$loss), results$patients)
left <- vapply(at_risk, function(patient) number(patient$loss$left), 0)
right <- vapply(at_risk, function(patient) number(patient$loss$right), 0)
again <- vapply(at_risk, function(patient) number(patient$treatedAgainAt), 0)
group <- vapply(at_risk, function(patient) if (is.null(patient$protocol)) NA_character_ else patient$protocol, "")
time <- ifelse(is.na(right), left, right)
event <- as.integer(!is.na(right))
years <- c(1, 2, 3, 5)
within <- years[years <= max(time)]

conventional <- summary(survfit(Surv(time, event) ~ 1), times = within)$surv
turnbull <- survfit(Surv(ifelse(left == 0, NA, left), right, type = "interval2") ~ 1)
interval_censored <- summary(turnbull, times = within, extend = TRUE)$surv

cause <- ifelse(event == 1, 1, ifelse(!is.na(again) & again > 0, 2, 0))
end <- ifelse(cause == 2, again, time)
incidence <- timepoints(cuminc(end, cause, cencode = 0), within)$est

sizes <- table(group)
large <- names(sizes)[sizes >= 5]
keep <- group %in% large
reference <- names(which.max(sizes[sort(large)]))
cox <- coxph(Surv(time, event) ~ relevel(factor(group), ref = reference), subset = keep, control = coxph.control(eps = 1e-11))

gains <- data.frame(
  patient = unlist(results$gains$patient), years = unlist(results$gains$years),
  gain = unlist(results$gains$gain), velocity = unlist(results$gains$velocity)
)
clock <- lmer(gain ~ velocity + (velocity | patient), gains, control = exact)
gains$x <- exp(-gains$years / results$separation$fadingPart$tau)
fading <- lmer(gain ~ x + (x | patient), gains, control = exact)
at_end <- mean(gains$velocity[gains$years == 0])

cat(toJSON(list(
  retained = lapply(seq_along(results$retained), retained),
  years = within, conventional = conventional, intervalCensored = interval_censored,
  lost = unname(incidence[1, ]), treatedAgain = if (nrow(incidence) > 1) unname(incidence[2, ]) else rep(0, length(within)),
  reference = reference, hazardRatios = as.list(setNames(exp(coef(cox)), sub(".*\\)", "", names(coef(cox))))),
  clock = unname(fixef(clock)), fading = unname(fixef(fading)),
  lastingShare = fixef(clock)[[1]] / (fixef(clock)[[1]] + fixef(clock)[[2]] * at_end)
), auto_unbox = TRUE, digits = 15, na = "null"))
