# Second opinions on agreement, kappa, correlations with missing scores and consistency. Run: Rscript reliability.R
suppressMessages({library(psych); library(lme4)})
rows <- list()
put <- function(key, value, by) rows[[length(rows) + 1]] <<- data.frame(key = key, value = format(value, digits = 15), computed_by = paste0("R ", getRversion(), ", ", by))
of <- function(p) paste(p, packageVersion(p))
sbp <- read.csv("../data/bland_altman_1999_sbp.csv")
pefr <- read.csv("../data/bland_altman_1986_pefr.csv")

# Exact limits of agreement: noncentral t
d <- pefr$wright1 - pefr$mini1; n <- length(d)
for (p in c(0.025, 0.975)) put(paste0("exact_limit.", p), mean(d) + sd(d) * qt(p, n - 1, 1.96 * sqrt(n)) / sqrt(n), "stats qt(ncp)")
for (case in list(c(0.025, 3, 3.92), c(0.975, 59, 15.18))) put(sprintf("qt.%g_%g_%g", case[1], case[2], case[3]), qt(case[1], case[2], case[3]), "stats qt(ncp)")

# Intraclass correlations with missing scores: restricted maximum likelihood, every fifth row's last score lost, one score each
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-12, maxfun = 1e5))
gaps <- function(wide) { m <- as.matrix(wide); m[seq(5, nrow(m), 5), ncol(m)] <- NA; m[3, 1] <- NA; m }
for (name in c("sbp_j", "sbp_first")) {
  m <- gaps(if (name == "sbp_j") sbp[, c("J1", "J2", "J3")] else sbp[, c("J1", "R1", "S1")])
  long <- data.frame(who = factor(row(m)), when = factor(col(m)), y = as.vector(m)); long <- long[!is.na(long$y), ]
  two <- as.data.frame(VarCorr(lmer(y ~ 1 + (1 | who) + (1 | when), long, control = tight)))
  one <- as.data.frame(VarCorr(lmer(y ~ 1 + (1 | who), long, control = tight)))
  v <- setNames(two$vcov, two$grp); w <- setNames(one$vcov, one$grp)
  by <- paste(of("lme4"), "lmer, REML, bobyqa rhoend 1e-12")
  put(paste0(name, ".people"), v["who"], by); put(paste0(name, ".occasions"), v["when"], by); put(paste0(name, ".error"), v["Residual"], by)
  put(paste0(name, ".people_one_way"), w["who"], by); put(paste0(name, ".within"), w["Residual"], by)
}

# Limits by regression: HC2 with Satterthwaite degrees of freedom, score interval of the spread's slope, recovered variances
a <- (pefr$wright1 + pefr$mini1) / 2; b <- pefr$mini1 - pefr$wright1; at <- 400; tcrit <- qt(0.975, n - 2); kappa <- pi / 2 - 1
line <- lm(b ~ a); X <- model.matrix(line); h <- hatvalues(line); M <- diag(n) - X %*% solve(crossprod(X), t(X)); spread <- lm(abs(resid(line)) ~ a)
half <- function(w) { q <- w^2 / (1 - h); qt(0.975, sum(w^2)^2 / sum(outer(q, q) * M^2)) * sqrt(sum(q * resid(line)^2)) }
pick <- function(x) drop(x %*% solve(crossprod(X), t(X))); by <- "stats lm, hatvalues, Imbens & Kolesar 2016"
put("by_size.bias_slope", coef(line)[2], by); put("by_size.bias_slope_high", coef(line)[2] + half(pick(c(0, 1))), by)
put("by_size.bias", sum(coef(line) * c(1, at)), by); put("by_size.bias_high", sum(coef(line) * c(1, at)) + half(pick(c(1, at))), by)
off <- function(x) (coef(spread)[2] - x)^2 - tcrit^2 * kappa * sum(pick(c(0, 1))^2 * (mean(abs(resid(line))) + x * (a - mean(a)))^2)
by <- "stats lm, uniroot"; put("by_size.spread_slope", sqrt(pi / 2) * coef(spread)[2], by)
put("by_size.spread_slope_low", sqrt(pi / 2) * uniroot(off, c(-1, coef(spread)[2]), tol = 1e-14)$root, by)
put("by_size.spread_slope_high", sqrt(pi / 2) * uniroot(off, c(coef(spread)[2], 1), tol = 1e-14)$root, by)
w <- pick(c(1, at)); s <- sqrt(pi / 2) * sum(coef(spread) * c(1, at)); v <- pi / 2 * kappa * sum(w^2 * fitted(spread)^2); nu <- s^2 / (2 * v)
upper <- sum(coef(line) * c(1, at)) + 1.96 * s; ends <- s * sqrt(nu / qchisq(c(0.975, 0.025), nu)); by <- "stats lm, qchisq, Zou 2013"
put("by_size.upper", upper, by); put("by_size.upper_low", upper - sqrt(half(w)^2 + (1.96 * (s - ends[1]))^2), by)
put("by_size.upper_high", upper + sqrt(half(w)^2 + (1.96 * (ends[2] - s))^2), by)

# Kappa with standard error
table <- matrix(c(10, 3, 1, 0, 2, 12, 4, 1, 0, 3, 9, 2, 0, 0, 2, 6), 4, byrow = TRUE)
k <- cohen.kappa(table)
put("kappa.plain", k$kappa, paste(of("psych"), "cohen.kappa")); put("kappa.quadratic", k$weighted.kappa, paste(of("psych"), "cohen.kappa"))
put("kappa.plain_se", sqrt(k$var.kappa), paste(of("psych"), "cohen.kappa"))
people <- as.data.frame(as.table(table)); people <- people[rep(seq_len(nrow(people)), people$Freq), 1:2]; m <- nrow(people)
of_table <- function(x, w) { p <- x / sum(x); o <- sum(w * p); e <- sum(w * outer(rowSums(p), colSums(p))); (o - e) / (1 - e) }
for (name in c("plain", "quadratic")) {
  w <- if (name == "plain") diag(4) else 1 - outer(0:3, 0:3, "-")^2 / 9; value <- of_table(table, w)
  left <- sapply(seq_len(m), function(i) of_table(base::table(people[-i, 1], people[-i, 2]), w))
  away <- qt(0.975, m - 1) * sqrt((m - 1) / m * sum((left - mean(left))^2)) / (1 - value^2); by <- "base, jackknife on Fisher's scale"
  put(paste0("kappa.", name, "_low"), tanh(atanh(value) - away), by); put(paste0("kappa.", name, "_high"), tanh(atanh(value) + away), by)
}

# Alpha with the interval of Feldt
a <- alpha(sbp[, c("J1", "R1", "S1")], warnings = FALSE)
put("alpha.value", a$total$raw_alpha, paste(of("psych"), "alpha"))
f <- alpha.ci(a$total$raw_alpha, n.obs = 85, n.var = 3, digits = 15)
put("alpha.low", f$lower.ci, paste(of("psych"), "alpha.ci")); put("alpha.high", f$upper.ci, paste(of("psych"), "alpha.ci"))

# Chi-square interval of a standard deviation for planning a retest study
for (n in c(48, 49)) put(paste0("retest_ratio.", n), sqrt((n - 1) / qchisq(0.025, n - 1)), "stats qchisq")
write.csv(do.call(rbind, rows), "reliability.csv", row.names = FALSE)
