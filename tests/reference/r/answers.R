# What the main job's answer says beyond curves and shares, worked out from docs/methods.md: groups with their tests and
# ratios, Holm's correction, the restricted mean, competing events by group, those who stayed away, and changes a year.
# Begins where main-job.R ends: gains and losses of each patient from its fixture, all else from the study's files.
# Packages: jsonlite, survival (survreg, coxph), cmprsk (Gray's test), stats (p.adjust, t.test, prop.test).
suppressPackageStartupMessages({
  library(survival)
  library(cmprsk)
})
source("shared/fixture.R")
source("shared/turnbull.R")
source("shared/interval-log-rank.R")
source("shared/study-files.R")
source("shared/gain-survival.R")

main <- jsonlite::fromJSON(file.path("..", "fixtures", "main-job.json"), simplifyDataFrame = FALSE)
study <- read_study(file.path("..", "data", "main-job"))
as_of <- as.Date(main$asOf)
z <- qnorm(0.975)
or_na <- function(x) if (is.null(x)) NA else x

person <- function(code) study$patients[match(code, study$patients$code), ]
horizon_of <- function(code) years(person(code)$active_end, as_of)
last_seen <- function(code) {
  came <- study$readings$visit_date[study$readings$patient_code == code & study$readings$visit_kind == "follow_up"]
  time <- years(person(code)$active_end, came)
  if (any(time > 0)) max(time) else NA
}

maturity_words <- c("Before the peak of growth (CS1, CS2)", "Around the peak (CS3, CS4)", "After the peak (CS5, CS6)")
median_gain <- function(patients) median(sapply(patients, function(p) p$gain$estimate))
label_of <- function(p, grouping, dividing) {
  who <- person(p$code)
  switch(grouping,
    protocol = who$protocol,
    expansion = if (is.na(who$expansion)) NA else if (who$expansion == "yes") "Upper jaw widened" else "Upper jaw not widened",
    sex = if (who$sex == "female") "Girls" else "Boys",
    maturity = maturity_words[match(who$maturity_start, paste0("CS", 1:6)) %/% 2 + match(who$maturity_start, paste0("CS", 1:6)) %% 2],
    gain = if (p$gain$estimate >= dividing) "Larger gain" else "Smaller gain"
  )
}
groupings <- c("protocol", "expansion", "sex", "maturity", "gain")

# Losses of those in the risk set, with a label each; patients whose label is not known left out.
labelled <- function(patients, grouping) {
  dividing <- median_gain(patients)
  rows <- data.frame(
    left = sapply(patients, function(p) p$loss$confirmed$left),
    right = sapply(patients, function(p) { right <- or_na(p$loss$confirmed$right); if (is.na(right)) Inf else right }),
    again = sapply(patients, function(p) or_na(p$treatedAgainAt)),
    label = sapply(patients, label_of, grouping, dividing)
  )
  rows[!is.na(rows$label), ]
}

group_test <- function(patients, grouping) {
  rows <- labelled(patients, grouping)
  large <- names(which(table(rows$label) >= 5))
  rows <- rows[rows$label %in% large, ]
  if (length(large) < 2) return(list(grouping = grouping, statistic = NULL, p = NULL))
  test <- one_test(sun_scores, rows$left, rows$right, factor(rows$label), rep(1, nrow(rows)))
  list(grouping = grouping, statistic = test$statistic, p = test$p)
}

with_holm <- function(tests) {
  adjusted <- p.adjust(sapply(tests, function(test) or_na(test$p)), "holm")
  Map(function(test, p) c(test, list(adjustedP = if (is.na(p)) NULL else p)), tests, adjusted)
}

ratio_rows <- function(labels, log_ratio, error, p) {
  Map(function(label, b, s, p) list(label = label, estimate = exp(b), lower = exp(b - z * s), upper = exp(b + z * s), p = p), labels, log_ratio, error, p) |> unname()
}

# Against the largest group. Whoever was seen last at the very end of treatment says nothing of the time.
regression <- function(rows, distribution) {
  rows <- rows[!(rows$left == 0 & is.infinite(rows$right)), ]
  times <- Surv(ifelse(rows$left == 0, NA, rows$left), ifelse(is.finite(rows$right), rows$right, NA), type = "interval2")
  strict <- survreg.control(rel.tolerance = 1e-13, maxiter = 200)
  fit <- survreg(times ~ label, rows, dist = distribution, control = strict)
  none <- survreg(times ~ 1, rows, dist = distribution, control = strict)
  others <- levels(rows$label)[-1]
  b <- coef(fit)[-1]
  V <- vcov(fit)
  error <- sqrt(diag(V))[seq_along(b) + 1]
  log_hazard <- -b / fit$scale
  hazard_error <- sapply(seq_along(b), function(i) {
    slope <- c(-1 / fit$scale, b[i] / fit$scale)
    part <- V[c(i + 1, nrow(V)), c(i + 1, nrow(V))]
    sqrt(drop(slope %*% part %*% slope))
  })
  p <- 2 * pnorm(-abs(b / error))
  list(
    timeRatios = ratio_rows(others, b, error, p), hazardRatios = if (distribution == "weibull") ratio_rows(others, log_hazard, hazard_error, p),
    p = pchisq(2 * (fit$loglik[2] - none$loglik[2]), length(b), lower.tail = FALSE)
  )
}

group_ratios <- function(patients, grouping) {
  rows <- labelled(patients, grouping)
  sizes <- table(rows$label)
  large <- sort(names(sizes[sizes >= 5]), method = "radix")
  rows <- rows[rows$label %in% large, ]
  if (length(large) < 2) return(NULL)
  reference <- large[which.max(sizes[large])]
  rows$label <- factor(rows$label, c(reference, setdiff(large, reference)))
  event <- is.finite(rows$right)
  time <- ifelse(event, rows$right, rows$left)
  cox <- coxph(Surv(time, event) ~ label, rows, ties = "efron", control = coxph.control(eps = 1e-12, toler.chol = 1e-14))
  found <- summary(cox)$coefficients
  list(
    grouping = grouping, reference = reference, weibull = regression(rows, "weibull"), logLogistic = regression(rows, "loglogistic"),
    cox = ratio_rows(levels(rows$label)[-1], found[, "coef"], found[, "se(coef)"], found[, "Pr(>|z|)"])
  )
}

gray <- function(patients) {
  rows <- labelled(patients, "protocol")
  cause <- ifelse(is.finite(rows$right), 1, ifelse(!is.na(rows$again) & rows$again > 0, 2, 0))
  time <- ifelse(cause == 1, rows$right, ifelse(cause == 2, rows$again, rows$left))
  # cmprsk says -1 where it takes the covariance of the scores for singular; nothing is compared with that.
  tests <- cuminc(time, cause, rows$label)$Tests
  lapply(setNames(c("1", "2"), c("lost", "treatedAgain")), function(cause) {
    if (tests[cause, "stat"] >= 0) list(chiSquared = tests[cause, "stat"], df = tests[cause, "df"], p = tests[cause, "pv"])
  })
}

# Area under the curve to a year: mass falls along its interval; at its left end for the least, at its right for the most.
restricted_mean <- function(left, right) {
  customary <- c(1, 2, 3, 5, 10)
  until <- max(customary[sapply(customary, function(year) still_followed(left, right, year)) >= 10])
  fit <- turnbull(left, right)
  from <- pmin(fit$cells$left, until)
  to <- fit$cells$right
  until_to <- pmin(to, until)
  reach <- until_to - from
  share <- ifelse(is.finite(to) & to > from, reach / (to - fit$cells$left), 0)
  list(until = until, estimate = sum(fit$mass * (from + reach * (1 - share / 2))), lower = sum(fit$mass * ifelse(is.finite(to), from, until)), upper = sum(fit$mass * until_to))
}

# Those of the bounds: in the risk set, or never seen though long due.
followed_of <- function(patients) {
  rows <- lapply(patients, function(p) {
    horizon <- horizon_of(p$code)
    seen <- last_seen(p$code)
    away <- is.null(p$treatedAgainAt) && horizon - ifelse(is.na(seen), 0, seen) > 1.5
    if (!is.null(p$loss)) {
      right <- or_na(p$loss$confirmed$right)
      return(data.frame(left = p$loss$confirmed$left, right = ifelse(is.na(right), Inf, right), horizon = horizon, away = away && is.na(right), never = FALSE))
    }
    if (!identical(p$leftOut, "no-follow-up") || !away) return(NULL)
    data.frame(left = 0, right = Inf, horizon = horizon, away = TRUE, never = is.na(seen))
  })
  do.call(rbind, rows)
}
curve_at <- function(left, right, at) turnbull_at(turnbull(left, right), at)
# Where a curve is not defined, the worst case has its lower end and the best case its upper.
end_at <- function(left, right, at, end) {
  fit <- turnbull(left, right)
  ends <- unclass(turnbull_ends(fit, at)[[end]])
  ifelse(is.na(ends), turnbull_at(fit, at), ends)
}
bounds_of <- function(rows) {
  at <- seq(0, floor(max(rows$left) / 0.25)) * 0.25
  list(years = I(at), estimate = I(curve_at(rows$left, rows$right, at)),
    worst = I(end_at(rows$left, ifelse(rows$away, rows$left + 0.01, rows$right), at, "lower")),
    best = I(end_at(ifelse(rows$away, pmax(rows$left, rows$horizon), rows$left), rows$right, at, "upper")))
}
# Fifths of those away by counting everybody five times.
tip_of <- function(rows, at_risk) {
  enough <- which(at_risk >= 10)
  year <- if (5 %in% enough) 5 else max(enough)
  survival <- sapply(0:5, function(fifths) {
    left <- unlist(lapply(seq_len(nrow(rows)), function(i) rep(rows$left[i], 5)))
    right <- unlist(lapply(seq_len(nrow(rows)), function(i) {
      if (rows$away[i]) c(rep(rows$left[i] + 0.01, fifths), rep(Inf, 5 - fifths)) else rep(rows$right[i], 5)
    }))
    curve_at(left, right, year)
  })
  list(year = year, survival = I(survival), away = sum(rows$away & !rows$never), neverSeen = sum(rows$never))
}

in_window <- function(time, year) time > year - 0.5 & time <= year + 0.5
gain_in <- function(p, year) {
  time <- unlist(p$visits$years)
  usable <- which(in_window(time, year) & time <= ifelse(is.null(p$treatedAgainAt), Inf, p$treatedAgainAt))
  if (length(usable) == 0) return(NA)
  unlist(p$visits$gain.estimate)[usable[which.min(abs(time[usable] - year))]]
}
seen_and_unseen <- function(patients, year) {
  due <- Filter(function(p) !is.null(p$gain) && horizon_of(p$code) >= year + 0.5 && (is.null(p$treatedAgainAt) || p$treatedAgainAt > year), patients)
  later <- sapply(due, gain_in, year)
  list(year = year, seen = due[!is.na(later)], later = later[!is.na(later)], unseen = due[is.na(later)])
}
split_of <- function(patients) {
  splits <- lapply(5:1, function(year) seen_and_unseen(patients, year))
  good <- Filter(function(s) length(s$seen) >= 10 && length(s$unseen) >= 5, splits)
  c(good, Filter(function(s) length(s$seen) >= 5, splits))[[1]]
}
share_tip <- function(split, share) {
  gains <- function(ps) sapply(ps, function(p) p$gain$estimate)
  first <- sum(gains(split$seen))
  absent <- sum(gains(split$unseen))
  later <- sum(split$later)
  at <- (share * (first + absent) - later) / absent
  list(year = split$year, seen = length(split$seen), unseen = length(split$unseen),
    overall = I((later + (0:5) / 5 * absent) / (first + absent)), at = if (at >= 0 && at <= 1) at)
}

wilson <- function(x) prop.test(sum(x), length(x), correct = FALSE)$conf.int
baseline <- function(split) {
  if (length(split$seen) < 5 || length(split$unseen) < 5) return(list())
  both <- function(read) lapply(split[c("seen", "unseen")], function(ps) { found <- sapply(ps, read); found[!is.na(found)] })
  age_at_end <- function(p) {
    end <- study$readings$visit_date[study$readings$patient_code == p$code & study$readings$visit_kind == "end_of_active"][1]
    years(person(p$code)$birth_date, end)
  }
  means <- function(name, read) {
    x <- both(read)
    test <- t.test(x$seen, x$unseen)
    list(name = name, seen = mean(x$seen), unseen = mean(x$unseen), lower = test$conf.int[1], upper = test$conf.int[2])
  }
  shares <- function(name, read) {
    x <- both(read)
    a <- wilson(x$seen)
    b <- wilson(x$unseen)
    d <- mean(x$seen) - mean(x$unseen)
    list(name = name, seen = mean(x$seen), unseen = mean(x$unseen),
      lower = d - sqrt((mean(x$seen) - a[1])^2 + (b[2] - mean(x$unseen))^2), upper = d + sqrt((a[2] - mean(x$seen))^2 + (mean(x$unseen) - b[1])^2))
  }
  protocols <- sort(unique(unlist(lapply(c(split$seen, split$unseen), function(p) person(p$code)$protocol))), method = "radix")
  c(
    list(
      means("Age at the end of treatment", age_at_end), means("Gain of treatment", function(p) p$gain$estimate),
      shares("Girls", function(p) person(p$code)$sex == "female"),
      shares("Before the peak of growth at the start", function(p) { stage <- person(p$code)$maturity_start; if (is.na(stage)) NA else stage %in% c("CS1", "CS2") }),
      shares("Upper jaw widened", function(p) person(p$code)$expansion == "yes")
    ),
    lapply(protocols, function(one) shares(paste("Protocol", one), function(p) person(p$code)$protocol == one))
  )
}

# Change a year between two windows that follow each other; limits where no growth curve adds its own doubt.
changes <- function(patients, grows) {
  rows <- lapply(0:9, function(from) {
    rates <- unlist(lapply(patients, function(p) {
      if (is.null(p$gain)) return(NULL)
      time <- unlist(p$visits$years)
      gain <- unlist(p$visits$gain.estimate)
      near <- function(year) {
        if (year == 0) return(c(0, p$gain$estimate))
        usable <- which(time > 0 & in_window(time, year) & time <= ifelse(is.null(p$treatedAgainAt), Inf, p$treatedAgainAt))
        if (length(usable) == 0) return(NULL)
        i <- usable[which.min(abs(time[usable] - year))]
        c(time[i], gain[i])
      }
      before <- near(from)
      after <- near(from + 1)
      if (is.null(before) || is.null(after) || after[1] - before[1] < 0.5) return(NULL)
      (after[2] - before[2]) / (after[1] - before[1])
    }))
    if (length(rates) < 2) return(NULL)
    half <- qt(0.975, length(rates) - 1) * sd(rates) / sqrt(length(rates))
    c(list(from = from, n = length(rates), mean = mean(rates)), if (!grows) list(lower = mean(rates) - half, upper = mean(rates) + half))
  })
  Filter(length, rows)
}

answer <- function(one) {
  consenting <- Filter(function(p) p$consent, one$patients)
  at_risk_set <- Filter(function(p) !is.null(p$loss), consenting)
  losses <- labelled(at_risk_set, "sex")
  rows <- followed_of(consenting)
  split <- split_of(consenting)
  list(
    measure = one$measure,
    tests = with_holm(lapply(groupings, function(grouping) group_test(at_risk_set, grouping))),
    ratios = Filter(length, lapply(groupings, function(grouping) group_ratios(at_risk_set, grouping))),
    gray = gray(at_risk_set), restrictedMean = restricted_mean(losses$left, losses$right),
    bounds = bounds_of(rows), tip = tip_of(rows, sapply(1:10, function(year) still_followed(losses$left, losses$right, year))),
    shareTip = share_tip(split, main$share), baseline = baseline(split), changes = changes(consenting, one$measure == "Co-Gn")
  )
}
write_fixture("answers", c("survival", "cmprsk"), list(answers = lapply(main$answers, answer)))
