# Losses and their curves by docs/methods.md, "Survival of the gain". Needs shared/turnbull.R and survival.

# (left, right] of one patient: `years`, `margin` D and `sd` from measurement error, in order of time. The latest visit
# of the rule `confirmed`, when below the threshold, can be neither a loss nor free of one, so it is not used.
loss_of <- function(years, margin, sd, rule, multiplier) {
  below <- margin < 0
  lost <- switch(rule,
    "any-visit" = below,
    "beyond-error" = margin < -multiplier * sd,
    "confirmed" = below & c(below[-1], FALSE)
  )
  undecided <- rule == "confirmed" & below & seq_along(below) == length(below)
  found <- which(lost)[1]
  free <- if (is.na(found)) years[!undecided] else years[seq_len(found - 1)]
  list(left = max(0, free), right = if (is.na(found)) Inf else years[found])
}

# Probability that error alone makes a loss of one patient who stands `stands` above the threshold at every visit.
# Given the error `u` that all visits share, the visits are independent.
false_loss <- function(stands, shared_sd, own_sd, sd, rule, multiplier) {
  given <- function(u) {
    line <- if (rule == "beyond-error") -multiplier * sd else 0
    p <- pnorm((line - stands - u) / own_sd)
    if (rule != "confirmed") return(1 - prod(1 - p))
    above <- 1 # no loss so far, latest visit not below
    below <- 0 # no loss so far, latest visit below
    for (chance in p) {
      free <- above + below
      below <- above * chance
      above <- free * (1 - chance)
    }
    1 - above - below
  }
  density <- function(u) sapply(u, given) * dnorm(u / shared_sd) / shared_sd
  parts <- seq(-10, 10, by = 2) * shared_sd
  sum(mapply(function(from, to) integrate(density, from, to, rel.tol = 1e-11, abs.tol = 1e-14)$value, head(parts, -1), tail(parts, -1)))
}

still_followed <- function(left, right, at) sum(ifelse(is.finite(right), right, left) >= at)

# Where nobody was lost yet, or everybody, exact binomial limits on the number at risk, or last at risk.
kaplan_meier_at <- function(left, right, at, level) {
  event <- is.finite(right)
  fit <- survfit(Surv(ifelse(event, right, left), event) ~ 1, conf.type = "log-log", conf.int = level)
  read_off <- summary(fit, times = at, extend = TRUE)
  drops <- fit$n.event > 0
  with_limits <- function(survival, lower, upper, n) {
    rows <- Map(function(survival, lower, upper, n) {
      if (survival > 0 && survival < 1) return(c(survival, lower, upper))
      c(survival, binom.test(round(survival * n), n, conf.level = level)$conf.int)
    }, survival, lower, upper, n)
    matrix(unlist(rows), nrow = 3, dimnames = list(c("survival", "lower", "upper"), NULL))
  }
  last_at_risk <- vapply(at, function(t) tail(c(0, fit$n.risk[drops & fit$time <= t]), 1), 0)
  at_risk <- vapply(at, function(t) still_followed(left, right, t), 0)
  years <- with_limits(read_off$surv, read_off$lower, read_off$upper, ifelse(read_off$surv == 1, at_risk, last_at_risk))
  steps <- with_limits(fit$surv[drops], fit$lower[drops], fit$upper[drops], fit$n.risk[drops])
  list(
    atYears = list(survival = I(years["survival", ]), lower = I(years["lower", ]), upper = I(years["upper", ])),
    steps = list(time = I(fit$time[drops]), survival = I(steps["survival", ]), lower = I(steps["lower", ]), upper = I(steps["upper", ]))
  )
}

# The curve falls only inside innermost intervals; there it is read along the straight line between the two ends.
turnbull_at <- function(fit, at) {
  sapply(at, function(t) {
    share <- pmin(1, pmax(0, (t - fit$cells$left) / (fit$cells$right - fit$cells$left)))
    1 - sum(fit$mass * ifelse(is.finite(fit$cells$right), share, 0))
  })
}
# Both ends' values where a time lies inside an innermost interval that carries mass, else NA.
turnbull_ends <- function(fit, at) {
  ends <- vapply(at, function(t) {
    inside <- which(fit$cells$left < t & t < fit$cells$right & fit$mass > 0)
    if (length(inside) == 0) return(c(NA, NA))
    before <- 1 - sum(fit$mass[fit$cells$right <= t])
    c(before - sum(fit$mass[inside]), before)
  }, c(0, 0))
  list(lower = I(ends[1, ]), upper = I(ends[2, ]))
}
