# Second opinions from R for imputed tables, information criteria, marginal models and two areas of the same people. Run in this folder: Rscript marginal.R
# Writes marginal.csv (key, value, computed_by). Needs mice, geepack, clubSandwich, nlme, pROC.
suppressWarnings(suppressMessages({library(mice); library(geepack); library(clubSandwich); library(nlme); library(pROC)}))
version <- function(package) paste(package, as.character(packageVersion(package)))
base <- paste("R", paste(R.version$major, R.version$minor, sep = "."))
rows <- list()
put <- function(key, value, by) rows[[length(rows) + 1]] <<- data.frame(
  key = key, value = formatC(as.numeric(value), digits = 15, format = "g", flag = "#"), computed_by = paste0(base, ", ", by))
data <- function(name) read.csv(file.path("..", "data", name))

# Rubin's rules: with complete degrees of freedom 48, and with none to limit them
by <- paste(version("mice"), "pool.scalar")
q <- c(2.1, 2.5, 1.9, 2.3, 2.0); u <- c(.20, .22, .19, .21, .20)
for (n in c(50, Inf)) {
  found <- pool.scalar(q, u, n = n, k = 2)
  name <- paste0("rubin", n, ".")
  put(paste0(name, "estimate"), found$qbar, by)
  put(paste0(name, "within"), found$ubar, by)
  put(paste0(name, "between"), found$b, by)
  put(paste0(name, "total"), found$t, by)
  put(paste0(name, "increase"), found$r, by)
  put(paste0(name, "df"), found$df, by)
  put(paste0(name, "fraction"), found$fmi, by)
}

# Information criteria of the analysis of covariance: R counts the residual variance
anorexia <- data("mass_anorexia.csv")
fit <- lm(Postwt ~ Prewt + Treat, anorexia)
put("ancova.log_likelihood", logLik(fit), "stats logLik.lm")
put("ancova.parameters", attr(logLik(fit), "df"), "stats logLik.lm")
put("ancova.aic", AIC(fit), "stats AIC")
put("ancova.bic", BIC(fit), "stats BIC")
put("ancova.groups_differ.f", anova(lm(Postwt ~ Prewt, anorexia), fit)$F[2], "stats anova.lm")
put("ancova.groups_differ.p", anova(lm(Postwt ~ Prewt, anorexia), fit)$`Pr(>F)`[2], "stats anova.lm")

# Marginal models. geepack estimates the working correlation by another formula, so its own row is that of independence;
# for exchangeable values the formula of Liang & Zeger 1986 with divisors less the coefficients, in base R.
marginal <- function(y, x, person, binary, exchangeable) {
  beta <- coef(glm.fit(x, y, family = if (binary) binomial() else gaussian())); alpha <- 0
  for (step in 1:200) {
    mean <- if (binary) plogis(drop(x %*% beta)) else drop(x %*% beta)
    variance <- if (binary) mean * (1 - mean) else rep(1, length(y))
    r <- (y - mean) / sqrt(variance)
    if (exchangeable) {
      pairs <- sum(tapply(r, person, function(a) (sum(a)^2 - sum(a^2)) / 2))
      count <- sum(tapply(r, person, function(a) length(a) * (length(a) - 1) / 2))
      alpha <- pairs / (sum(r^2) / (length(y) - ncol(x))) / (count - ncol(x))
    }
    bread <- 0; score <- 0
    for (own in split(seq_along(y), person)) {
      v <- outer(sqrt(variance[own]), sqrt(variance[own])) * (alpha + (1 - alpha) * diag(length(own)))
      d <- x[own, , drop = FALSE] * variance[own]
      bread <- bread + t(d) %*% solve(v, d); score <- score + t(d) %*% solve(v, y[own] - mean[own])
    }
    move <- drop(solve(bread, score)); beta <- beta + move
    if (max(abs(move)) < 1e-13) break
  }
  list(beta = beta, alpha = alpha, d = x * variance, left = y - mean, variance = variance)
}
# the last step is a linear model with a known working covariance, whose sandwiches are those of clubSandwich
sandwiches <- function(name, y, x, person, binary, exchangeable, terms) {
  fit <- marginal(y, x, person, binary, exchangeable)
  table <- data.frame(fit$d, z = drop(fit$d %*% fit$beta) + fit$left, variance = fit$variance, person = factor(person))
  linear <- gls(as.formula(paste("z ~ 0 +", paste(colnames(x), collapse = " + "))), table,
                correlation = if (exchangeable) corCompSymm(fit$alpha, ~ 1 | person, fixed = TRUE),
                weights = varFixed(~variance))
  stopifnot(max(abs(coef(linear) - fit$beta)) < 1e-9)
  put(paste0(name, ".correlation"), fit$alpha, "base R, moments of Pearson residuals")
  for (type in c("CR0", "CR1", "CR2", "CR3")) {
    tested <- coef_test(linear, vcov = type, cluster = table$person, test = "Satterthwaite")
    for (term in terms) {
      by <- paste0(version("clubSandwich"), " coef_test(", type, ") of nlme gls at the last step")
      row <- which(rownames(tested) == term)
      if (type == "CR0") put(paste(name, term, "value", sep = "."), fit$beta[[term]], "base R, Fisher scoring")
      put(paste(name, term, type, "se", sep = "."), tested$SE[row], by)
      if (type != "CR0") put(paste(name, term, type, "df", sep = "."), if (is.null(tested$df)) tested$df_Satt[row] else tested$df[row], by)
    }
  }
}
breath <- data("respiratory.csv"); breath$person <- interaction(breath$center, breath$id, drop = TRUE)
columns <- with(breath, cbind(start = 1, treated = treat == "A", male = sex == "M", age, baseline, second = center == 2))
sandwiches("breath", breath$outcome, columns, breath$person, TRUE, TRUE, c("treated", "age", "baseline"))
kept <- -seq(5, nrow(breath), by = 5); columns <- cbind(columns, visit = breath$visit)
for (exchangeable in c(TRUE, FALSE)) {
  name <- if (exchangeable) "breath_gaps" else "breath_gaps_apart"
  sandwiches(name, breath$outcome[kept], columns[kept, ], breath$person[kept], TRUE, exchangeable, c("treated", "visit"))
}
teeth <- data("orthodont.csv")[-seq(5, 108, by = 5), ]
columns <- with(teeth, cbind(start = 1, age = age_years, female = sex == "Female"))
sandwiches("teeth_marginal", teeth$distance_mm, columns, teeth$participant, FALSE, TRUE, colnames(columns))

breath <- breath[order(breath$person), ]
fit <- geeglm(outcome ~ treat + sex + age + baseline + factor(center), binomial, breath, id = person, corstr = "exchangeable")
found <- summary(fit)$coefficients; by <- paste(version("geepack"), "geeglm(exchangeable)")
put("geepack.treated.value", -found["treatP", "Estimate"], by)
put("geepack.treated.se", found["treatP", "Std.err"], by)
put("geepack.baseline.value", found["baseline", "Estimate"], by)
put("geepack.correlation", fit$geese$alpha, by)
fit <- geeglm(outcome ~ treat + sex + age + baseline + factor(center), binomial, breath, id = person, corstr = "independence")
found <- summary(fit)$coefficients; by <- paste(version("geepack"), "geeglm(independence)")
put("geepack_apart.treated.value", -found["treatP", "Estimate"], by)
put("geepack_apart.treated.se", found["treatP", "Std.err"], by)

# Two areas of the same people, and the cut-point nearest to the corner
asah <- data("proc_asah.csv"); poor <- asah$outcome == "Poor"
grade <- roc(poor, as.numeric(asah$wfns), quiet = TRUE, direction = "<")
protein <- roc(poor, asah$s100b, quiet = TRUE, direction = "<")
tested <- roc.test(grade, protein, method = "delong", paired = TRUE); by <- paste(version("pROC"), "roc.test(delong, paired)")
put("areas.first", auc(grade), paste(version("pROC"), "roc"))
put("areas.second", auc(protein), paste(version("pROC"), "roc"))
put("areas.z", tested$statistic, by)
put("areas.p", tested$p.value, by)
spread <- sqrt(var(grade) + var(protein) - 2 * cov(grade, protein)); by <- paste(version("pROC"), "var, cov; stats qnorm")
for (side in c(low = -1, high = 1)) put(paste0("areas.", names(which(c(low = -1, high = 1) == side))),
                                        auc(grade) - auc(protein) + side * qnorm(0.975) * spread, by)
best <- coords(protein, "best", best.method = "closest.topleft", transpose = FALSE); by <- paste(version("pROC"), "coords(closest.topleft)")
put("corner.cut", best$threshold, by)
put("corner.sensitivity", best$sensitivity, by)
put("corner.specificity", best$specificity, by)

# Exact shares, p values adjusted for their number, criteria of a mixed model
for (a in list(c(81, 263), c(15, 148), c(0, 20), c(29, 29))) {
  exact <- binom.test(a[1], a[2])$conf.int; name <- paste0("exact.", a[1], "_", a[2])
  put(paste0(name, ".low"), exact[1], "stats binom.test"); put(paste0(name, ".high"), exact[2], "stats binom.test")
}
p <- c(.0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344, .0459, .3240, .4262, .5719, .6528, .7590, 1)
for (i in c(1, 4, 9, 15)) for (how in c("bonferroni", "BY")) put(paste("adjusted", how, i, sep = "."), p.adjust(p, how)[i], "stats p.adjust")

write.csv(do.call(rbind, rows), "marginal.csv", row.names = FALSE)
