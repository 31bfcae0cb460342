# Second opinions from R for the mixed models of outcomes. Run in this folder: Rscript models.R
# Writes models.csv (key, value, computed_by) and models_trials.csv (trial, method, values, sum_y, deviance, optimiser, singular).
# Needs lme4, lmerTest, pbkrtest, optimx, dfoptim.
suppressWarnings(suppressMessages({library(lme4); library(lmerTest); library(pbkrtest); library(optimx); library(dfoptim)}))
version <- function(package) paste(package, as.character(packageVersion(package)))
base <- paste("R", paste(R.version$major, R.version$minor, sep = "."))
rows <- list()
put <- function(key, value, by) rows[[length(rows) + 1]] <<- data.frame(
  key = key, value = formatC(as.numeric(value), digits = 15, format = "g", flag = "#"), computed_by = paste0(base, ", ", by))
data <- function(name) read.csv(file.path("..", "data", name))
quietly <- function(x) suppressWarnings(suppressMessages(x))

# lmer stops at a tolerance; from there its own deviance function is followed to the end by repeated tight bobyqa, and the
# model is put together at the best theta found.
tight <- function(formula, d, reml = TRUE) {
  parts <- quietly(lFormula(formula, d, REML = reml))
  f <- do.call(mkLmerDevfun, parts)
  best <- list(fval = Inf)
  for (start in list(parts$reTrms$theta, 0.3 * parts$reTrms$theta, 3 * parts$reTrms$theta)) {
    at <- start
    for (round in 1:6) {
      found <- quietly(minqa::bobyqa(at, f, lower = parts$reTrms$lower, control = list(rhobeg = 0.2 * 10^(1 - round), rhoend = 1e-9 * 10^(1 - round / 2), maxfun = 20000)))
      at <- pmax(found$par, parts$reTrms$lower)
    }
    if (found$fval < best$fval) best <- list(fval = found$fval, par = at)
  }
  # Newton's method on a numerical Hessian, over the elements that are not at the boundary
  free <- best$par > 1e-6 | parts$reTrms$lower < 0
  at <- ifelse(free, best$par, 0)
  for (round in 1:4) if (any(free)) {
    g <- function(x) { at2 <- at; at2[free] <- x; f(at2) }
    at[free] <- at[free] - solve(numDeriv::hessian(g, at[free]), numDeriv::grad(g, at[free]))
  }
  f(at)
  opt <- list(par = at, fval = f(at), conv = 0, message = "", feval = 0)
  attr(opt, "optimizer") <- "bobyqa"; attr(opt, "control") <- list(); attr(opt, "derivs") <- NULL
  model <- mkMerMod(environment(f), opt, parts$reTrms, parts$fr, mc = call("lmer", formula = formula, data = quote(d), REML = reml))
  # as_lmerModLmerTest() would fit again with lmer's own tolerance; this is its second step, at the model given
  quietly(lmerTest:::as_lmerModLT(model, f))
}

terms_of <- function(name, model, words, d) {
  by <- paste(version("lmerTest"), "contest, tight optimum", version("lme4"))
  for (i in seq_along(words)) {
    key <- paste(name, words[i], sep = ".")
    row <- replace(numeric(length(words)), i, 1)
    put(paste0(key, ".estimate"), fixef(model)[i], by)
    found <- contest1D(model, row)
    put(paste0(key, ".se"), found$`Std. Error`, by); put(paste0(key, ".df"), found$df, by); put(paste0(key, ".p"), found$`Pr(>|t|)`, by)
    if (isREML(model)) {
      by_kr <- paste(version("pbkrtest"), "vcovAdj and ddf_Lb, tight optimum", version("lme4"))
      adjusted <- as.matrix(vcovAdj(model))
      se <- sqrt(adjusted[i, i]); df <- ddf_Lb(vcovAdj(model), row, vcov(model))
      put(paste0(key, ".se_kr"), se, by_kr); put(paste0(key, ".df_kr"), df, by_kr)
      put(paste0(key, ".p_kr"), 2 * pt(-abs(fixef(model)[i] / se), df), by_kr)
    }
  }
}
parts_of <- function(name, model, slope) {
  by <- paste(version("lme4"), "tight optimum")
  v <- VarCorr(model)[[1]]
  put(paste0(name, ".sigma"), sigma(model), by)
  put(paste0(name, ".deviance"), if (isREML(model)) REMLcrit(model) else -2 * as.numeric(logLik(model)), by)
  put(paste0(name, ".sd_intercept"), sqrt(v[1, 1]), by)
  if (slope) { put(paste0(name, ".sd_slope"), sqrt(v[2, 2]), by); put(paste0(name, ".correlation"), attr(v, "correlation")[1, 2], by) }
}
f_of <- function(name, model, rows) {
  by <- paste(version("lmerTest"), "contestMD, tight optimum", version("lme4"))
  found <- contestMD(model, rows)
  put(paste0(name, ".f"), found$`F value`, by); put(paste0(name, ".df2"), found$DenDF, by); put(paste0(name, ".p"), found$`Pr(>F)`, by)
  by <- paste(version("pbkrtest"), "KRmodcomp, tight optimum", version("lme4"))
  found <- KRmodcomp(model, rows)$test["Ftest", ]
  put(paste0(name, ".f_kr"), found$stat, by); put(paste0(name, ".df2_kr"), found$ddf, by); put(paste0(name, ".p_kr"), found$p.value, by)
}
information_of <- function(name, model) {
  by <- paste(version("lme4"), "ML, tight optimum, stats AIC and BIC")
  put(paste0(name, ".aic"), AIC(model), by); put(paste0(name, ".bic"), BIC(model), by); put(paste0(name, ".log_likelihood"), logLik(model), by)
}

sleep <- data("sleepstudy.csv"); sleep$participant <- factor(sleep$participant)
teeth <- data("orthodont.csv"); teeth$participant <- factor(teeth$participant); teeth$sex <- factor(teeth$sex, levels = c("Male", "Female"))
dye <- data("dyestuff.csv"); dye2 <- data("dyestuff2.csv")

m <- tight(reaction_ms ~ day + (day | participant), sleep)
terms_of("sleep_slope", m, c("intercept", "day")); parts_of("sleep_slope", m, TRUE); f_of("sleep_slope_f", m, diag(2))
m <- tight(reaction_ms ~ day + (1 | participant), sleep)
terms_of("sleep_intercept", m, c("intercept", "day")); parts_of("sleep_intercept", m, FALSE)
m <- tight(reaction_ms ~ day + (day | participant), sleep, reml = FALSE)
terms_of("sleep_ml", m, c("intercept", "day")); parts_of("sleep_ml", m, TRUE); information_of("sleep_ml", m)
words <- c("intercept", "age", "female", "age_female")
m <- tight(distance_mm ~ age_years * sex + (age_years | participant), teeth)
terms_of("teeth", m, words); parts_of("teeth", m, TRUE); f_of("teeth_f", m, rbind(c(0, 0, 1, 0), c(0, 0, 0, 1)))
gaps <- teeth[seq_len(nrow(teeth)) %% 5 != 0, ]
m <- tight(distance_mm ~ age_years * sex + (age_years | participant), gaps)
terms_of("gaps", m, words); parts_of("gaps", m, TRUE); f_of("gaps_f", m, rbind(c(0, 0, 1, 0), c(0, 0, 0, 1)))
f_of("gaps_all_f", m, rbind(c(0, 1, 0, 0), c(0, 0, 1, 0), c(0, 0, 0, 1)))
m <- tight(distance_mm ~ age_years * sex + (1 | participant), gaps)
terms_of("gaps_intercept", m, words); parts_of("gaps_intercept", m, FALSE); f_of("gaps_intercept_f", m, rbind(c(0, 0, 1, 0), c(0, 0, 0, 1)))
m <- tight(distance_mm ~ age_years * sex + (age_years | participant), gaps, reml = FALSE)
terms_of("gaps_ml", m, words); parts_of("gaps_ml", m, TRUE); information_of("gaps_ml", m)
old <- teeth[teeth$age_years >= 10, ]
m <- tight(distance_mm ~ age_years * sex + (age_years | participant), old)
terms_of("line", m, words); parts_of("line", m, TRUE); f_of("line_f", m, rbind(c(0, 0, 1, 0), c(0, 0, 0, 1)))
m <- tight(yield_g ~ 1 + (1 | batch), dye)
terms_of("dye", m, "mean"); parts_of("dye", m, FALSE)
m <- tight(yield_g ~ 1 + (1 | batch), dye2)
terms_of("dye2", m, "mean"); parts_of("dye2", m, FALSE)

# Profile-likelihood limits by brute force: dense covariance of each person, nlminb over the other parts, uniroot for the ends
profile_of <- function(name, y, x, person, z, reml, start) {
  people <- lapply(split(seq_along(y), person), function(i) list(y = y[i], x = x[i, , drop = FALSE], z = z[i, , drop = FALSE]))
  deviance <- function(part) {
    s <- exp(part[length(part)]); g <- diag(part[1]^2, 1)
    if (ncol(z) == 2) g <- matrix(c(part[1]^2, part[3] * part[1] * part[2], part[3] * part[1] * part[2], part[2]^2), 2)
    xx <- 0; xy <- 0; yy <- 0; log_v <- 0
    for (p in people) {
      v <- p$z %*% g %*% t(p$z) + diag(s^2, nrow(p$z)); r <- chol(v)
      a <- backsolve(r, p$x, transpose = TRUE); b <- backsolve(r, p$y, transpose = TRUE)
      xx <- xx + crossprod(a); xy <- xy + crossprod(a, b); yy <- yy + sum(b^2); log_v <- log_v + 2 * sum(log(diag(r)))
    }
    n <- length(y) - (if (reml) ncol(x) else 0)
    log_v + yy - sum(xy * solve(xx, xy)) + n * log(2 * pi) + (if (reml) as.numeric(determinant(xx)$modulus) else 0)
  }
  k <- length(start); low <- c(if (k == 4) c(0, 0, -1) else 0, -Inf); high <- c(if (k == 4) c(Inf, Inf, 1) else Inf, Inf)
  best <- function(at, free) {
    for (round in 1:4) { found <- nlminb(at[free], function(x) { at[free] <- x; deviance(at) }, lower = low[free], upper = high[free], scale = 1 / pmax(abs(at[free]), 1e-2),
      control = list(rel.tol = 1e-15, x.tol = 1e-12, eval.max = 5000, iter.max = 2000)); at[free] <- found$par }
    list(par = at, value = found$objective)
  }
  whole <- best(start, seq_len(k))
  labels <- if (k == 4) c("sd_intercept", "sd_slope", "correlation", "sigma") else c("sd_intercept", "sigma")
  by <- "base and stats: dense likelihood, nlminb, uniroot"
  for (i in seq_len(k)) {
    above <- function(value) { at <- whole$par; at[i] <- value; best(at, setdiff(seq_len(k), i))$value - whole$value - qchisq(0.95, 1) }
    estimate <- whole$par[i]
    ends <- if (labels[i] == "sigma") estimate + c(-1, 1) else if (labels[i] == "correlation") c(-0.9999, 0.9999) else c(1e-6, 6 * estimate)
    shown <- if (labels[i] == "sigma") exp else identity
    lower <- if (above(ends[1]) < 0) 0 else uniroot(above, c(ends[1], estimate), tol = 1e-9)$root
    put(paste(name, labels[i], "low", sep = "."), shown(lower), by)
    put(paste(name, labels[i], "high", sep = "."), shown(uniroot(above, c(estimate, ends[2]), tol = 1e-9)$root), by)
  }
}
profile_of("sleep_profile", sleep$reaction_ms, cbind(1, sleep$day), sleep$participant, cbind(1, sleep$day), TRUE, c(24.7, 5.9, 0.07, log(25.6)))
profile_of("sleep_profile_ml", sleep$reaction_ms, cbind(1, sleep$day), sleep$participant, cbind(1, sleep$day), FALSE, c(23.8, 5.7, 0.08, log(25.6)))
profile_of("dye_profile", dye$yield_g, cbind(rep(1, 30)), dye$batch, cbind(rep(1, 30)), TRUE, c(42, log(49.5)))

write.csv(do.call(rbind, rows), "models.csv", row.names = FALSE)

# 300 small unbalanced trials from a linear congruential generator (minimal standard of Park & Miller 1988), the same numbers in
# every program: each normal is the sum of twelve uniforms less 6. The best deviance of five optimisers is kept.
state <- 0
uniform <- function() { state <<- (16807 * state) %% 2147483647; state / 2147483647 }
normal <- function() { s <- 0; for (i in 1:12) s <- s + uniform(); s - 6 }
trial <- function(t) {
  state <<- 1000 + 7919 * t
  for (i in 1:10) uniform()
  people <- 4 + t %% 9; between <- c(0, 1, 3)[1 + t %% 3]; slopes <- c(0, 0.05, 0.3)[1 + (t %/% 3) %% 3]
  out <- NULL
  for (i in seq_len(people)) {
    a <- between * normal(); b <- slopes * normal()
    for (week in c(0, 4, 8, 12, 16)) {
      y <- floor((10 + a + (0.1 + b) * week + normal()) * 100 + 0.5) / 100
      seen <- uniform() > 0.3 || i <= 3 || week <= 4
      if (seen) out <- rbind(out, data.frame(y = y, week = week, person = i, group = i %% 2))
    }
  }
  out
}
ways <- list(bobyqa = list("bobyqa", list()), nelder_mead = list("Nelder_Mead", list()), nloptwrap = list("nloptwrap", list()),
  nlminb = list("optimx", list(method = "nlminb")), nmkbw = list("nmkbw", list()))
kept <- NULL
for (t in 1:300) {
  d <- trial(t); d$person <- factor(d$person); reml <- t %% 2 == 1
  formula <- if (t %% 4 < 2) y ~ week + (week | person) else y ~ week * group + (week | person)
  found <- sapply(ways, function(w) quietly(tryCatch({
    m <- lme4::lmer(formula, d, REML = reml, control = lmerControl(optimizer = w[[1]], optCtrl = w[[2]], calc.derivs = FALSE))
    c(if (reml) REMLcrit(m) else -2 * as.numeric(logLik(m)), isSingular(m)) }, error = function(e) c(Inf, NA))))
  i <- which.min(found[1, ])
  kept <- rbind(kept, data.frame(trial = t, method = if (reml) "REML" else "ML", values = nrow(d), sum_y = sprintf("%.2f", sum(d$y)),
    deviance = sprintf("%.9f", found[1, i]), optimiser = names(ways)[i], singular = found[2, i]))
}
writeLines(c(paste0("# best of five optimisers, ", base, ", ", version("lme4"), ", ", version("optimx"), ", ", version("dfoptim"))), "models_trials.csv")
quietly(write.table(kept, "models_trials.csv", sep = ",", row.names = FALSE, quote = FALSE, append = TRUE))
