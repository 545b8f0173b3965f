# Works out again, from a results.json alone, what a report says: retained shares, the conventional curve, the
# interval-censored curve, the growth clock with the uncertainty of the growth curve, the fading part, cumulative
# incidences, Cox's ratios, log-rank tests for interval-censored times, regressions of the intervals, bounds and tipping
# points for those who stayed away, the comparison of seen and unseen, and what gave way.
# Usage: Rscript results-again.R results.json; prints JSON.
# Packages: jsonlite, survival, lme4, lmerTest, cmprsk, metafor.
suppressMessages({
  library(jsonlite)
  library(survival)
  library(lme4)
  library(cmprsk)
})
source("shared/turnbull.R")
source("shared/interval-log-rank.R")
results <- fromJSON(commandArgs(TRUE)[1])
exact <- lmerControl(
  optimizer = "bobyqa", optCtrl = list(rhoend = 1e-11, maxfun = 1e5), calc.derivs = FALSE,
  check.conv.singular = "ignore", check.scaleX = "ignore"
)
level <- results$definitions$question$level
z <- qnorm((1 + level) / 2)
patients <- as.data.frame(results$patients)
visits <- as.data.frame(results$visits)
visits$again <- patients$treatedAgainAt[match(visits$patient, patients$code)]

# Gain of each patient in a year's window: of the visits in it the one nearest to the anniversary; NA where there is none.
gain_in_year <- function(year) {
  usable <- visits[which(visits$kind == "follow_up" & !is.na(visits$gain) & visits$years > year - 0.5 & visits$years <= year + 0.5 &
    (is.na(visits$again) | visits$years <= visits$again)), ]
  usable <- usable[order(abs(usable$years - year)), ]
  usable$gain[match(patients$code, usable$patient)]
}

retained <- function(year) {
  later <- gain_in_year(year)
  both <- !is.na(later) & !is.na(patients$gain)
  list(n = sum(both), share = if (any(both)) mean(later[both]) / mean(patients$gain[both]) else NA)
}

at_risk <- patients[!is.na(patients$lossLeft), ]
left <- at_risk$lossLeft
right <- at_risk$lossRight
again <- at_risk$treatedAgainAt
time <- ifelse(is.na(right), left, right)
event <- as.integer(!is.na(right))
years <- c(1, 2, 3, 5)
within <- years[years <= max(time)]

conventional <- summary(survfit(Surv(time, event) ~ 1), times = within)$surv

# Survival of a Turnbull curve at a time, along a straight line inside an innermost interval.
# Inside an innermost interval the curve is not defined: read along the line, or at its lower or upper end.
reader <- function(left, right, inside = "line") {
  fit <- turnbull(left, right)
  function(at) vapply(at, function(t) {
    bounded <- is.finite(fit$cells$right)
    passed <- ifelse(bounded, pmin(1, pmax(0, (t - fit$cells$left) / (fit$cells$right - fit$cells$left))), 0)
    if (inside != "line") passed[passed > 0 & passed < 1] <- if (inside == "lower") 1 else 0
    1 - sum(fit$mass * passed)
  }, 0)
}
interval_censored <- reader(left, ifelse(is.na(right), Inf, right))(within)

cause <- ifelse(event == 1, 1, ifelse(!is.na(again) & again > 0, 2, 0))
end <- ifelse(cause == 2, again, time)
incidence <- timepoints(cuminc(end, cause, cencode = 0), within)$est

# Groups, by the labels of the report.
stages <- list("Before the peak of growth (CS1, CS2)" = c("CS1", "CS2"), "Around the peak (CS3, CS4)" = c("CS3", "CS4"), "After the peak (CS5, CS6)" = c("CS5", "CS6"))
stage_group <- unlist(lapply(names(stages), function(name) setNames(rep(name, 2), stages[[name]])))
groups <- list(
  protocol = at_risk$protocol,
  expansion = ifelse(at_risk$expansion, "Upper jaw widened", "Upper jaw not widened"),
  sex = ifelse(at_risk$sex == "female", "Girls", "Boys"),
  maturity = unname(stage_group[at_risk$maturityStart]),
  gain = ifelse(at_risk$gain >= median(at_risk$gain), "Larger gain", "Smaller gain")
)
large_enough <- function(group) {
  sizes <- table(group)
  !is.na(group) & group %in% names(sizes)[sizes >= 5]
}
tests <- lapply(groups, function(group) {
  keep <- large_enough(group)
  if (length(unique(group[keep])) < 2) return(NULL)
  test <- one_test(sun_scores, left[keep], ifelse(is.na(right), Inf, right)[keep], factor(group[keep]), rep(1, sum(keep)))
  list(statistic = test$statistic, p = test$p)
})
tests <- Filter(Negate(is.null), tests)
adjusted <- p.adjust(vapply(tests, `[[`, 0, "p"), "holm")

group <- groups[[results$groups$grouping]]
keep <- large_enough(group)
sizes <- table(group[keep])
reference <- names(which.max(sizes))
data <- data.frame(
  time = time, event = event, from = ifelse(left == 0, NA, left), to = right,
  group = relevel(factor(ifelse(keep, group, NA)), ref = reference)
)[keep, ]
others <- levels(data$group)[-1]
cox <- coxph(Surv(time, event) ~ group, data, control = coxph.control(eps = 1e-11))
# To the variance of a log ratio comes what curve and method error leave open, as far as it is known.
carried <- function(i) {
  sd <- results$groups$regressions$timeRatios[[i]]$carriedSd
  ifelse(is.na(sd), 0, sd)
}
regressions <- Map(function(distribution, i) {
  fit <- survreg(Surv(from, to, type = "interval2") ~ group, data, dist = distribution, control = survreg.control(maxiter = 200, rel.tolerance = 1e-13))
  empty <- survreg(Surv(from, to, type = "interval2") ~ 1, data, dist = distribution, control = survreg.control(maxiter = 200, rel.tolerance = 1e-13))
  b <- coef(fit)[-1]
  se <- sqrt(diag(fit$var)[seq_along(b) + 1] + carried(i)^2)
  list(
    ratios = I(unname(exp(b))), lower = I(unname(exp(b - z * se))), upper = I(unname(exp(b + z * se))),
    hazards = I(unname(exp(-b / fit$scale))),
    p = pchisq(2 * (fit$loglik[2] - empty$loglik[2]), length(b), lower.tail = FALSE),
    aic = -2 * fit$loglik[2] + 2 * (length(coef(fit)) + 1)
  )
}, c("weibull", "loglogistic"), 1:2) |> unname()

# The growth clock, and what the uncertainty of the growth curve adds to its two parts.
gains <- as.data.frame(results$gains)
clock <- lmer(gain ~ velocity + (velocity | patient), gains, control = exact)
gains$x <- exp(-gains$years / results$separation$fadingPart$tau)
fading <- lmer(gain ~ x + (x | patient), gains, control = exact)

curve <- results$definitions$reference$curve
direction <- results$definitions$measure$direction
first <- min(curve$knots)
range <- diff(range(curve$knots))
bends <- head(curve$knots, -2)
cube <- function(age, knot, power) {
  x <- (age - first) / range
  k <- (knot - first) / range
  (pmax(0, x - k)^power - pmax(0, x - 1)^power) / (1 - k)
}
last_but_one <- rev(curve$knots)[2]
size_columns <- function(age) cbind(1, (age - first) / range, sapply(bends, function(k) cube(age, k, 3) - cube(age, last_but_one, 3)))
slope_columns <- function(age) cbind(0, 1 / range, sapply(bends, function(k) 3 * (cube(age, k, 2) - cube(age, last_but_one, 2)) / range))
in_blocks <- function(columns, sex) do.call(cbind, lapply(curve$sexes, function(own) columns * (sex == own)))
sex <- patients$sex[match(gains$patient, patients$code)]
grown <- in_blocks(size_columns(gains$age), sex) - in_blocks(size_columns(gains$startAge), sex)
slopes <- in_blocks(slope_columns(gains$age), sex)
velocity <- direction * drop(slopes %*% curve$coefficients)
# The gain itself, from the values and the curve.
key <- paste(gains$patient, round(gains$age, 9))
own <- visits[match(key, paste(visits$patient, round(visits$growthAge, 9))), "value"]
starts <- visits[visits$kind == "start", ]
start <- starts$value[match(gains$patient, starts$patient)]
gain <- direction * (own - start - drop(grown %*% curve$coefficients))

error <- direction * (grown + fixef(clock)[[2]] * slopes)
between <- as.matrix(VarCorr(clock)$patient)
residual <- sigma(clock)^2
covariance <- as.matrix(vcov(clock))
score <- Reduce(`+`, lapply(split(seq_len(nrow(gains)), gains$patient), function(rows) {
  x <- cbind(1, gains$velocity[rows])
  crossprod(x, solve(x %*% between %*% t(x) + residual * diag(length(rows)), error[rows, , drop = FALSE]))
}))
transfer <- -covariance %*% score
added <- transfer %*% curve$covariance %*% t(transfer)
degrees <- suppressMessages(lmerTest::contest1D(lmerTest::as_lmerModLmerTest(clock), c(1, 0))$df)
variance <- covariance[1, 1] + added[1, 1]
df <- degrees * (variance / covariance[1, 1])^2
reach <- qt((1 + level) / 2, df) * sqrt(variance)
ends <- gains$years == 0
at_end <- mean(gains$velocity[ends])
# Gain at the end as modelled; its own velocity hangs on the curve too.
through <- fixef(clock)[[2]] * direction * colMeans(slopes[ends, , drop = FALSE])
end_transfer <- transfer[1, ] + at_end * transfer[2, ] + through
end_variance <- covariance[1, 1] + 2 * at_end * covariance[1, 2] + at_end^2 * covariance[2, 2] + drop(end_transfer %*% curve$covariance %*% end_transfer)
with_lasting <- covariance[1, 1] + at_end * covariance[1, 2] + drop(transfer[1, ] %*% curve$covariance %*% end_transfer)

# Those who stayed away: without a visit for a year and a half, and neither seen lost nor treated again.
away <- is.na(patients$treatedAgainAt) & !is.na(patients$horizon) & patients$horizon - ifelse(is.na(patients$lastSeen), 0, patients$lastSeen) > 1.5
in_set <- !is.na(patients$lossLeft)
unfollowed <- !in_set & !is.na(patients$leftOut) & patients$leftOut == "no-follow-up" & away
followed <- data.frame(
  left = ifelse(in_set, patients$lossLeft, 0), right = ifelse(in_set & !is.na(patients$lossRight), patients$lossRight, Inf),
  horizon = patients$horizon, away = (in_set & away & is.na(patients$lossRight)) | unfollowed, unseen = unfollowed & is.na(patients$lastSeen)
)[in_set | unfollowed, ]
# Fifths of those away are lost right after they were last seen: everybody counts five times, so that fifths are whole.
assumed <- function(lost, kept = followed$left, inside = "line") {
  here <- followed[!followed$away, ]
  gone <- followed[followed$away, ]
  reader(
    c(rep(here$left, 5), rep(gone$left, lost), rep(kept[followed$away], 5 - lost)),
    c(rep(here$right, 5), rep(gone$left + 0.01, lost), rep(Inf, (5 - lost) * nrow(gone))),
    inside
  )
}
quarters <- seq(0, max(followed$left), by = 0.25)
under <- lapply(0:5, assumed)
# No bound lies on the other side of the estimate, which is itself possible.
worst <- pmin(assumed(5, inside = "lower")(quarters), under[[1]](quarters))
best <- pmax(assumed(0, pmax(followed$left, followed$horizon, na.rm = TRUE), "upper")(quarters), under[[1]](quarters))
tip <- if (is.null(results$absence$survivalTip)) NULL else vapply(under, function(at) at(results$absence$survivalTip$year), 0)

# Seen and unseen in the year of the retained share's tipping point.
year <- results$absence$shareTip$year
due <- !is.na(patients$gain) & !is.na(patients$horizon) & patients$horizon >= year + 0.5 & (is.na(patients$treatedAgainAt) | patients$treatedAgainAt > year)
later <- gain_in_year(year)
seen <- due & !is.na(later)
unseen <- due & is.na(later)
overall <- (sum(later[seen]) + (0:5) / 5 * sum(patients$gain[unseen])) / (sum(patients$gain[seen]) + sum(patients$gain[unseen]))
welch <- function(x) {
  test <- t.test(x[seen], x[unseen], conf.level = level)
  list(difference = mean(x[seen], na.rm = TRUE) - mean(x[unseen], na.rm = TRUE), lower = test$conf.int[1], upper = test$conf.int[2])
}
# Newcombe 1998, method 10, from Wilson's limits as prop.test gives them for one share.
newcombe <- function(x) {
  wilson <- function(own) {
    own <- own[!is.na(own)]
    c(mean(own), suppressWarnings(prop.test(sum(own), length(own), conf.level = level, correct = FALSE)$conf.int))
  }
  a <- wilson(x[seen])
  b <- wilson(x[unseen])
  difference <- a[1] - b[1]
  list(difference = difference, lower = difference - sqrt((a[1] - a[2])^2 + (b[3] - b[1])^2), upper = difference + sqrt((a[3] - a[1])^2 + (b[1] - b[2])^2))
}
protocols <- sort(unique(patients$protocol[seen | unseen]))
baseline <- c(
  list("Age at the end of treatment" = welch(patients$ageAtEnd), "Gain of treatment" = welch(patients$gain), "Girls" = newcombe(patients$sex == "female"),
    "Before the peak of growth at the start" = newcombe(ifelse(is.na(patients$maturityStart), NA, patients$maturityStart %in% c("CS1", "CS2"))),
    "Upper jaw widened" = newcombe(patients$expansion)),
  setNames(lapply(protocols, function(code) newcombe(patients$protocol == code)), paste("Protocol", protocols))
)

# What gave way: parts of each change, from the readings.
readings <- as.data.frame(results$gaveWay$readings)
records <- lapply(c(start = "start", end = "end", year = "year"), function(which) {
  own <- readings[readings$record == which, ]
  own[match(patients$code, own$patient), ]
})
spans <- list(treatment = c("start", "end"), since = c("end", "year"), whole = c("start", "year"))
t_mean <- function(x) list(mean = mean(x), lower = t.test(x, conf.level = level)$conf.int[1], upper = t.test(x, conf.level = level)$conf.int[2])
gave_way <- lapply(spans, function(span) {
  before <- records[[span[1]]]
  after <- records[[span[2]]]
  aged <- !is.na(before$age) & !is.na(after$age)
  d <- function(point) after[[point]] - before[[point]]
  correction <- function(upper, lower) {
    parts <- cbind(d(lower) - d(upper), -d("ss"), d("pg"), d("ss") - d(upper), d(lower) - d("pg"))
    parts <- parts[aged & complete.cases(parts), , drop = FALSE]
    list(n = nrow(parts), sums = max(abs(parts[, 1] - rowSums(parts[, -1]))), parts = apply(parts, 2, t_mean, simplify = FALSE), skeletal = sum(parts[, 2:3]) / sum(parts[, 1]))
  }
  tilt <- function(own) (own$pg + own$co) / own$length
  chin <- cbind(
    d("pg"), d("length") * (tilt(before) + tilt(after)) / 2, (tilt(after) - tilt(before)) * (before$length + after$length) / 2,
    before$co - after$co, suppressWarnings(acos(tilt(before)) - acos(tilt(after))) * 180 / pi
  )
  chin <- chin[aged & complete.cases(chin), , drop = FALSE]
  list(overjet = correction("is", "ii"), molar = correction("ms", "mi"), chin = list(n = nrow(chin), parts = apply(chin, 2, t_mean, simplify = FALSE)))
})

# The pool: means over centres from the centres' rows, wherever the row of every centre in the mean is shown.
# A standard deviation that all centres share is added up with the weights; where the mean was taken anew under draws of a
# shared growth table (curves), the draws are not told, and their standard deviation is taken as it stands beside the mean.
natural <- function(x, scale) if (scale == "identity") x else exp(-exp(x))
both_ways <- function(estimate, reach, scale) sort(natural(estimate + c(-1, 1) * reach, scale))
# Restricted maximum likelihood, Hartung and Knapp's interval no shorter than Wald's variance has it.
over_centres <- function(y, v, common, level) {
  suppressMessages(requireNamespace("metafor"))
  fit <- metafor::rma(y, v, method = "REML", test = "adhoc", level = 100 * level, control = list(threshold = 1e-14, maxiter = 10000))
  weight <- unname(metafor::weights.rma.uni(fit)) / 100
  shared <- if (length(common) == length(y)) sum(weight * common) else common
  list(fit = fit, weight = weight, se = sqrt(fit$se^2 + shared^2))
}
pool_again <- function(answer) {
  quantities <- answer$measure$quantities
  lapply(Filter(function(i) {
    rows <- quantities$rows[[i]]
    !is.na(quantities$twoStage$centres[i]) && is.data.frame(rows) && nrow(rows) == quantities$twoStage$centres[i] && !anyNA(rows$pooledAs$variance)
  }, seq_len(nrow(quantities))), function(i) {
    scale <- quantities$scale[i]
    rows <- quantities$rows[[i]]
    y <- rows$pooledAs$value
    v <- rows$pooledAs$variance
    common <- rows$pooledAs$commonSd
    k <- length(y)
    tail <- (1 + answer$level) / 2
    drawn <- scale != "identity"
    made <- over_centres(y, v, if (drawn) quantities$twoStage$commonSd[i] else common, answer$level)
    centre <- as.numeric(made$fit$b)
    spread <- confint(made$fit, control = list(tol = 1e-15, maxiter = 100000))$random["tau^2", c("ci.lb", "ci.ub")]
    without <- if (k < 3) NULL else lapply(seq_len(k), function(j) {
      rest <- over_centres(y[-j], v[-j], if (drawn) quantities$withoutOne[[i]]$commonSd[j] else common[-j], answer$level)
      list(
        estimate = natural(as.numeric(rest$fit$b), scale), iSquared = rest$fit$I2 / 100,
        limits = both_ways(as.numeric(rest$fit$b), qt(tail, k - 2) * rest$se, scale)
      )
    })
    list(
      place = i - 1, estimate = natural(centre, scale), limits = both_ways(centre, qt(tail, k - 1) * made$se, scale),
      prediction = if (k < 3) NULL else both_ways(centre, qt(tail, k - 2) * sqrt(made$fit$tau2 + made$se^2), scale),
      tauSquared = made$fit$tau2, tauSquaredLimits = unname(spread), iSquared = made$fit$I2 / 100, q = made$fit$QE, qP = made$fit$QEp,
      weights = I(made$weight), without = without
    )
  })
}
pooled <- if (is.null(results$pool$answer)) NULL else pool_again(results$pool$answer)

cat(toJSON(list(
  retained = lapply(seq_len(nrow(results$retained)), retained),
  years = within, conventional = conventional, intervalCensored = interval_censored,
  lost = unname(incidence[1, ]), treatedAgain = if (nrow(incidence) > 1) unname(incidence[2, ]) else rep(0, length(within)),
  reference = reference, others = I(others), hazardRatios = I(unname(exp(coef(cox)))),
  tests = lapply(names(tests), function(name) c(list(grouping = name, adjusted = adjusted[[name]]), tests[[name]])),
  regressions = regressions,
  clock = unname(fixef(clock)), fading = unname(fixef(fading)),
  lastingShare = fixef(clock)[[1]] / (fixef(clock)[[1]] + fixef(clock)[[2]] * at_end),
  lasting = list(standardError = sqrt(variance), df = df, lower = fixef(clock)[[1]] - reach, upper = fixef(clock)[[1]] + reach),
  gainAtEnd = list(standardError = sqrt(end_variance), withLasting = with_lasting),
  gains = list(gain = gain, velocity = velocity),
  followed = list(patients = nrow(followed), stayedAway = sum(followed$away & !followed$unseen), neverSeen = sum(followed$unseen)),
  bounds = list(years = quarters, estimate = under[[1]](quarters), worst = worst, best = best),
  survivalTip = tip, shareTip = overall, baseline = baseline, gaveWay = gave_way,
  pooled = pooled
), auto_unbox = TRUE, digits = 15, na = "null"))
