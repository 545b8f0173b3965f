# Lasting gain and growth brought forward: the growth clock and the fading part of invented series by lme4 and lmerTest,
# the reach of an uncertain growth curve by differences of dense generalised least squares, patients left out in turn,
# and the worth of one more visit by dense information matrices.
# Packages: lme4 1.1-31, lmerTest 3.1-3. Data: seeded, invented.
suppressMessages({
  library(lme4)
  library(lmerTest)
})
source("shared/fixture.R")

Sys.setenv(LANG = "C")
exact <- lmerControl(
  optimizer = "bobyqa", optCtrl = list(rhoend = 1e-11, maxfun = 1e5), calc.derivs = FALSE,
  check.conv.singular = "ignore", check.scaleX = "ignore"
)

velocity_at <- function(age) 2.3 / (1 + exp((age - 15.4) / 0.9)) + 1.1 * exp(-((age - 12.6) / 1.3)^2)

# A curve with six coefficients, so that its covariance is not trivial: cubic in age, and a shift for either end.
curve_row <- function(age) c(age - 12, (age - 12)^2 / 10, (age - 12)^3 / 100, exp(-(age - 12)^2 / 8))
slope_row <- function(age) c(1, 2 * (age - 12) / 10, 3 * (age - 12)^2 / 100, -(age - 12) / 4 * exp(-(age - 12)^2 / 8))

invented <- function(seed, patients, longest, lasting, forward, own_rate = 0.2) {
  set.seed(seed, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
  rows <- lapply(seq_len(patients), function(i) {
    age_start <- rnorm(1, 12.6, 1.1)
    active <- max(0.4, rnorm(1, 0.85, 0.16))
    own <- c(rnorm(1, lasting[1], lasting[2]), rnorm(1, forward[1], forward[2]), rnorm(1, 0, own_rate))
    times <- c(0, seq_len(floor(runif(1, 1, longest + 1))))
    times <- times[times == 0 | runif(length(times)) > 0.15]
    times[times > 0] <- times[times > 0] + rnorm(sum(times > 0), 0, 0.07)
    age <- age_start + active + times
    gain <- own[1] + own[2] * velocity_at(age) + own[3] * (age - age_start) + rnorm(length(age), 0, 0.7) - rnorm(1, 0, 0.7)
    data.frame(patient = i, time = round(times, 3), age = round(age, 3), age_start = round(age_start, 3), gain = round(gain, 2))
  })
  frame <- do.call(rbind, rows)
  frame$velocity <- velocity_at(frame$age)
  frame
}

part <- function(fit, which) {
  table <- coef(summary(fit, ddf = "Satterthwaite"))
  row <- table[which, ]
  margin <- qt(0.975, row[["df"]]) * row[["Std. Error"]]
  list(
    estimate = row[["Estimate"]], standardError = row[["Std. Error"]], df = row[["df"]], t = row[["t value"]],
    p = row[["Pr(>|t|)"]], lower = row[["Estimate"]] - margin, upper = row[["Estimate"]] + margin
  )
}

components <- function(fit) list(G = unclass(VarCorr(fit)$patient)[1:2, 1:2], s2 = sigma(fit)^2)

# Generalised least squares by dense matrices at given components, patient by patient.
score_of <- function(frame, x, y, parts) {
  by <- split(seq_len(nrow(frame)), frame$patient)
  lapply(by, function(rows) {
    X <- cbind(1, x[rows])
    V <- X %*% parts$G %*% t(X) + diag(parts$s2, length(rows))
    list(I = t(X) %*% solve(V, X), b = t(X) %*% solve(V, y[rows]))
  })
}
gls <- function(scores) c(solve(Reduce(`+`, lapply(scores, `[[`, "I")), Reduce(`+`, lapply(scores, `[[`, "b"))))

fieller <- function(a, b, va, vb, cab, m) {
  A <- b^2 - m^2 * vb; B <- a * b - m^2 * cab; C <- a^2 - m^2 * va
  roots <- (B + c(-1, 1) * sqrt(max(0, B^2 - A * C))) / A
  list(kind = if (A > 0) "bounded" else "unbounded", lower = min(roots), upper = max(roots))
}

clock <- function(frame) {
  fit <- lmer(gain ~ velocity + (velocity | patient), frame, REML = TRUE, control = exact)
  full <- update(fit, REML = FALSE)
  parts <- components(fit)
  scores <- score_of(frame, frame$velocity, frame$gain, parts)
  V <- as.matrix(vcov(fit))
  lasting <- part(fit, "(Intercept)"); passing <- part(fit, "velocity")
  at_end <- mean(frame$velocity[frame$time == 0])
  gain <- lasting$estimate + passing$estimate * at_end
  variance <- V[1, 1] + 2 * at_end * V[1, 2] + at_end^2 * V[2, 2]
  list(
    lasting = lasting, passing = passing, covariance = unname(V[1, 2]),
    betweenPatients = c(parts$G[1, 1], parts$G[1, 2], parts$G[2, 2]), residualSd = sqrt(parts$s2),
    restrictedLogLikelihood = as.numeric(logLik(fit)), logLikelihood = as.numeric(logLik(full)), aic = AIC(full),
    regressorAtEnd = at_end, gainAtEnd = gain, gainAtEndError = sqrt(variance), lastingShare = lasting$estimate / gain,
    share = fieller(
      lasting$estimate, gain, V[1, 1], variance, V[1, 1] + at_end * V[1, 2],
      qt(0.975, min(lasting$df, passing$df))
    ),
    leftOut = lapply(names(scores), function(i) list(patient = as.numeric(i), at = gls(scores[names(scores) != i])))
  )
}

# T and S after the curve's coefficients moved by `delta`, at the components of the unmoved fit.
moved <- function(frame, parts, delta) {
  grown <- vapply(seq_len(nrow(frame)), function(i) sum((curve_row(frame$age[i]) - curve_row(frame$age_start[i])) * delta), 0)
  faster <- vapply(frame$age, function(age) sum(slope_row(age) * delta), 0)
  at_parts <- score_of(frame, frame$velocity, frame$gain, parts)
  # The regressor moves with the curve, the weights stay: first-order reach at given variance components.
  by <- split(seq_len(nrow(frame)), frame$patient)
  scores <- lapply(by, function(rows) {
    X <- cbind(1, frame$velocity[rows]); moved <- cbind(1, frame$velocity[rows] + faster[rows])
    V <- X %*% parts$G %*% t(X) + diag(parts$s2, length(rows))
    list(I = t(moved) %*% solve(V, moved), b = t(moved) %*% solve(V, (frame$gain - grown)[rows]))
  })
  gls(scores)
}

with_curve <- function(frame, curve_covariance) {
  fit <- lmer(gain ~ velocity + (velocity | patient), frame, REML = TRUE, control = exact)
  parts <- components(fit)
  # The derivative where model and data agree: gains are set to their fitted means, so that what is left is first order.
  frame$gain <- fixef(fit)[1] + fixef(fit)[2] * frame$velocity
  step <- 1e-5
  K <- vapply(1:4, function(k) {
    delta <- replace(numeric(4), k, step)
    (moved(frame, parts, delta) - moved(frame, parts, -delta)) / (2 * step)
  }, numeric(2))
  added <- K %*% curve_covariance %*% t(K)
  end <- frame$time == 0
  at_end <- mean(frame$velocity[end])
  own <- rowMeans(vapply(frame$age[end], slope_row, numeric(4)))
  J <- K[1, ] + at_end * K[2, ] + fixef(fit)[[2]] * own
  V <- as.matrix(vcov(fit))
  list(
    rows = list(
      growth = lapply(seq_len(nrow(frame)), function(i) curve_row(frame$age[i]) - curve_row(frame$age_start[i])),
      velocity = lapply(frame$age, slope_row)
    ),
    curveCovariance = curve_covariance, transfer = K, lastingError = sqrt(V[1, 1] + added[1, 1]),
    passingError = sqrt(V[2, 2] + added[2, 2]), covariance = V[1, 2] + added[1, 2],
    gainAtEndError = sqrt(sum(c(1, at_end) * (V %*% c(1, at_end))) + sum(J * (curve_covariance %*% J)))
  )
}

fading <- function(frame) {
  deviance_at <- function(log_tau) {
    frame$x <- exp(-frame$time / exp(log_tau))
    -2 * as.numeric(logLik(lmer(gain ~ x + (x | patient), frame, REML = FALSE, control = exact)))
  }
  range <- log(c(0.2, 3 * max(frame$time)))
  grid <- seq(range[1], range[2], length.out = 25)
  best <- grid[which.min(vapply(grid, deviance_at, 0))]
  step <- grid[2] - grid[1]
  found <- optimize(deviance_at, c(max(range[1], best - step), min(range[2], best + step)), tol = 1e-8)
  above <- function(log_tau) deviance_at(log_tau) - found$objective - qchisq(0.95, 1)
  limit <- function(end) {
    if (above(end) <= 0) return(NA)
    exp(uniroot(above, sort(c(end, found$minimum)), tol = 1e-8)$root)
  }
  tau <- exp(found$minimum)
  frame$x <- exp(-frame$time / tau)
  fit <- lmer(gain ~ x + (x | patient), frame, REML = TRUE, control = exact)
  list(
    tau = tau, tauLower = limit(range[1]), tauUpper = limit(range[2]), logLikelihood = -found$objective / 2,
    at = list(lasting = fixef(fit)[[1]], passing = fixef(fit)[[2]]),
    along = along(frame, found, range, above, fit)
  )
}

# Limits over all taus left open: the ends of (estimate - value)^2 / variance + 2 fall <= t^2, sought by R's optimiser.
along <- function(frame, found, range, above, fit) {
  df <- c(part(fit, "(Intercept)")$df, part(fit, "x")$df)
  t2 <- qt(0.975, min(df))^2
  left <- function(log_tau) t2 - (above(log_tau) + qchisq(0.95, 1))
  end <- function(at) if (left(at) >= 0) NA else uniroot(left, sort(c(at, found$minimum)), tol = 1e-8)$root
  ends <- c(end(range[1]), end(range[2]))
  if (is.na(ends[2])) return(list(df = df, bounded = FALSE))
  open <- c(if (is.na(ends[1])) range[1] else ends[1], ends[2])
  known <- new.env()
  at <- function(log_tau) {
    key <- format(log_tau, digits = 17)
    if (is.null(known[[key]])) {
      frame$x <- exp(-frame$time / exp(log_tau))
      one <- lmer(gain ~ x + (x | patient), frame, REML = TRUE, control = exact)
      known[[key]] <- list(b = fixef(one), V = as.matrix(vcov(one)), reach = sqrt(max(0, left(log_tau))))
    }
    known[[key]]
  }
  highest <- function(value) {
    grid <- seq(open[1], open[2], length.out = 9)
    best <- which.max(vapply(grid, value, 0))
    optimize(value, grid[c(max(1, best - 1), min(9, best + 1))], maximum = TRUE, tol = 1e-4)$objective
  }
  limits <- function(weights) {
    side <- function(sign) {
      sign * highest(function(log_tau) {
        one <- at(log_tau); w <- weights(exp(log_tau))
        sign * sum(w * one$b) + one$reach * sqrt(sum(w * (one$V %*% w)))
      })
    }
    c(side(-1), side(1))
  }
  share <- function(which, sign) {
    sign * highest(function(log_tau) {
      one <- at(log_tau); V <- one$V
      set <- fieller(one$b[[1]], sum(one$b), V[1, 1], sum(V), V[1, 1] + V[1, 2], one$reach)
      stopifnot(set$kind == "bounded")
      sign * set[[which]]
    })
  }
  list(
    df = df, bounded = TRUE, lasting = limits(function(tau) c(1, 0)), passing = limits(function(tau) c(0, 1)),
    gainAfterThree = limits(function(tau) c(1, exp(-3 / tau))), share = c(share("lower", -1), share("upper", 1))
  )
}

# Gains that fade with time alone, slowly against the follow-up or not.
fading_series <- function(seed, patients, longest, tau) {
  set.seed(seed, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
  frame <- do.call(rbind, lapply(seq_len(patients), function(i) {
    times <- 0:floor(runif(1, 1, longest + 1))
    data.frame(patient = i, time = times, gain = round(
      rnorm(1, 2.5, 1.5) + rnorm(1, 2, 0.8) * exp(-times / tau) + rnorm(length(times), 0, 0.6), 2
    ))
  }))
  frame$velocity <- exp(-frame$time / tau)
  frame
}

# Standard error of T now and with one more visit of patient i at velocity v, by dense matrices.
worth <- function(frame, i, v) {
  fit <- lmer(gain ~ velocity + (velocity | patient), frame, REML = TRUE, control = exact)
  parts <- components(fit)
  now <- Reduce(`+`, lapply(score_of(frame, frame$velocity, frame$gain, parts), `[[`, "I"))
  longer <- rbind(frame, transform(frame[match(i, frame$patient), ], velocity = v, gain = 0))
  then <- Reduce(`+`, lapply(score_of(longer, longer$velocity, longer$gain, parts), `[[`, "I"))
  list(patient = i, velocity = v, now = sqrt(solve(now)[1, 1]), then = sqrt(solve(then)[1, 1]))
}

case <- function(name, frame, curve = NULL, fades = TRUE) {
  list(
    name = name,
    rows = list(
      patient = frame$patient, time = frame$time, gain = frame$gain, velocity = frame$velocity
    ),
    clock = clock(frame),
    curve = if (!is.null(curve)) with_curve(frame, curve),
    fading = if (fades) fading(frame),
    worth = lapply(c(1, 5), function(i) worth(frame, i, 0.15))
  )
}

root <- matrix(c(0.05, 0.01, 0, 0, 0, 0.04, 0.01, 0, 0, 0, 0.06, 0.02, 0, 0, 0, 0.03), 4)
write_fixture("separation", c("lme4", "lmerTest"), list(cases = list(
  case("both parts, 60 patients", invented(11, 60, 8, c(2.5, 1.5), c(0.9, 0.4)), crossprod(root)),
  case("nothing lasts, 40 patients", invented(12, 40, 8, c(0.2, 1), c(1.2, 0.5)), crossprod(root)),
  case("fading in 2 years, 70 patients", fading_series(15, 70, 8, 2)),
  case("fading slowly, 60 patients", fading_series(16, 60, 5, 6)),
  case("short follow-up, 50 patients", invented(13, 50, 3, c(2, 1.2), c(1, 0.5)), fades = FALSE),
  case("fourteen patients", invented(14, 14, 8, c(2.5, 1.6), c(0.8, 0.5)), fades = FALSE)
)))
