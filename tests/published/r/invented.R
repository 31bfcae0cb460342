# Every kind of number of two invented cohorts worked out by R. Run in this folder: Rscript invented.R
# Writes invented.csv (key, value, computed_by) from ../data/invented_*.csv. Needs psych, effectsize, coin, lme4, lmerTest, pbkrtest.
suppressWarnings(suppressMessages({library(psych); library(effectsize); library(coin); library(lmerTest)}))
version <- function(package) paste(package, as.character(packageVersion(package)))
base <- paste("R", paste(R.version$major, R.version$minor, sep = "."))
rows <- list()
put <- function(key, value, by) rows[[length(rows) + 1]] <<- data.frame(
  key = key, value = formatC(as.numeric(value), digits = 12, format = "g", flag = "#"), computed_by = paste0(base, ", ", by))
three <- function(key, value, low, high, by) {
  put(paste0(key, ".value"), value, by); put(paste0(key, ".low"), low, by); put(paste0(key, ".high"), high, by) }
data <- function(name) read.csv(file.path("..", "data", paste0("invented_", name, ".csv")))
spread <- function(key, s, df) three(key, s, s * sqrt(df / qchisq(.975, df)), s * sqrt(df / qchisq(.025, df)), "chi-square limits")

# ---- repeats: reliability, error, agreement
repeats <- data("repeats")
for (series in c("mid_thigh", "calf", "speed")) {
  w <- as.matrix(repeats[repeats$series == series, c("test_1", "test_2")]); n <- nrow(w); key <- function(x) paste0("repeats.", series, ".", x)
  i <- ICC(w, lmer = FALSE)$results
  for (j in 1:6) three(key(c("icc_1_1", "icc_a_1", "icc_c_1", "icc_1_k", "icc_a_k", "icc_c_k")[j]), i$ICC[j], i$`lower bound`[j], i$`upper bound`[j], paste(version("psych"), "ICC"))
  a <- anova(lm(as.vector(w) ~ factor(rep(1:n, 2)) + factor(rep(1:2, each = n))))
  o <- a$`Mean Sq`[2]; e <- a$`Mean Sq`[3]
  f <- o / n; g <- e * (n - 1) / n
  spread(key("standard_error_agreement"), sqrt(e + max(0, (o - e) / n)), if (o <= e) n - 1 else (f + g)^2 / (f^2 + g^2 / (n - 1)))
  spread(key("standard_error_consistency"), sqrt(e), n - 1)
  d <- w[, 2] - w[, 1]; t <- t.test(d)
  three(key("bias"), mean(d), t$conf.int[1], t$conf.int[2], "stats t.test")
  q <- qt(c(.025, .975), n - 1, ncp = 1.96 * sqrt(n)) / sqrt(n)
  three(key("upper_limit"), mean(d) + 1.96 * sd(d), mean(d) + q[1] * sd(d), mean(d) + q[2] * sd(d), "stats qt with ncp")
  m <- (n - 1) / n
  put(key("concordance"), 2 * m * cov(w[, 1], w[, 2]) / (m * var(w[, 1]) + m * var(w[, 2]) + mean(d)^2), "Lin 1989 by cov and var")
}
x <- repeats[repeats$series == "spasticity", ]; p <- table(factor(x$test_1, 0:5), factor(x$test_2, 0:5))
away <- abs(outer(0:5, 0:5, "-"))
for (name in c("plain", "linear", "quadratic")) {
  w <- switch(name, plain = (away == 0) * 1, linear = 1 - away / 5, quadratic = 1 - away^2 / 25)
  put(paste0("repeats.spasticity.kappa_", name), cohen.kappa(p, w = w)[[if (name == "plain") "kappa" else "weighted.kappa"]], paste(version("psych"), "cohen.kappa"))
}

# ---- changes: of people, between groups, important
all <- data("changes"); all$change <- all$after - all$before
for (series in c("mid_thigh", "calf")) {
  x <- all[all$series == series, ]; x$group <- relevel(factor(x$group), "waiting"); key <- function(x) paste0("changes.", series, ".", x)
  f <- lm(after ~ before + group, x); ci <- confint(f)
  three(key("ancova"), coef(f)[3], ci[3, 1], ci[3, 2], "stats lm"); put(key("ancova.p"), summary(f)$coefficients[3, 4], "stats lm")
  three(key("ancova_slope"), coef(f)[2], ci[2, 1], ci[2, 2], "stats lm")
  put(key("slopes_differ.p"), anova(f, lm(after ~ before * group, x))$`Pr(>F)`[2], "stats anova")
  a <- x[x$group == "trained", ]; b <- x[x$group == "waiting", ]; t <- t.test(a$change, b$change)
  three(key("welch"), mean(a$change) - mean(b$change), t$conf.int[1], t$conf.int[2], "stats t.test")
  for (group in c("trained", "waiting")) {
    y <- x[x$group == group, ]; own <- function(x) key(paste0(group, ".", x)); t <- t.test(y$change)
    three(own("mean"), mean(y$change), t$conf.int[1], t$conf.int[2], "stats t.test")
    r <- cor.test(y$before, y$after); three(own("correlation"), r$estimate, r$conf.int[1], r$conf.int[2], "stats cor.test")
    d <- cohens_d(y$change); three(own("d_z"), d$Cohens_d, d$CI_low, d$CI_high, paste(version("effectsize"), "cohens_d"))
  }
}
for (series in c("spasticity", "independence", "satisfaction")) {
  x <- all[all$series == series, ]; key <- function(x) paste0("changes.", series, ".", x)
  a <- x$change[x$group == "trained"]; b <- x$change[x$group == "waiting"]
  put(key("cliff"), suppressWarnings(cliffs_delta(a, b))$r_rank_biserial, paste(version("effectsize"), "cliffs_delta"))
  put(key("cliff.p"), pvalue(wilcox_test(c(a, b) ~ factor(rep(c("a", "b"), c(length(a), length(b)))), distribution = "exact")), paste(version("coin"), "wilcox_test, exact"))
  for (group in c("trained", "waiting")) {
    d <- x$change[x$group == group]; own <- function(x) key(paste0(group, ".", x)); n <- length(d)
    # by the changes themselves: with two columns this version counts the zeros of the second one in place of those of the changes
    r <- suppressWarnings(rank_biserial(d[d != 0])); three(own("rank_biserial"), r$r_rank_biserial, r$CI_low, r$CI_high, paste(version("effectsize"), "rank_biserial"))
    walsh <- outer(d, d, "+") / 2; walsh <- sort(walsh[lower.tri(walsh, diag = TRUE)]); k <- qsignrank(.025, n)
    three(own("hodges_lehmann"), median(walsh), walsh[k], walsh[length(walsh) + 1 - k], "stats qsignrank")
    put(own("signed_rank.p"), pvalue(wilcoxsign_test(d ~ rep(0, n), zero.method = "Wilcoxon", distribution = "exact")), paste(version("coin"), "wilcoxsign_test, exact"))
  }
}
x <- all[all$series == "mid_thigh" & !is.na(all$rating), ]; important <- x$rating >= 4
yes <- x$change[important]; no <- x$change[!important]
won <- outer(yes, no, function(a, b) (a > b) + (a == b) / 2); z <- qnorm(.975) * sqrt(var(rowMeans(won)) / length(yes) + var(colMeans(won)) / length(no))
three("important.area", mean(won), mean(won) - z, min(1, mean(won) + z), "DeLong 1988 by outer and var")
u <- sort(unique(x$change)); cuts <- (u[-1] + u[-length(u)]) / 2; gain <- sapply(cuts, function(k) mean(yes >= k) + mean(no < k))
put("important.roc", cuts[which.max(gain)], "largest sensitivity + specificity, one cut-point")
g <- glm(important ~ x$change, family = binomial, control = list(epsilon = 1e-14)); share <- mean(important)
put("important.predicted", (log(share / (1 - share)) - coef(g)[1]) / coef(g)[2], "stats glm")

# ---- dose: mid thigh of the trained
x <- all[all$series == "mid_thigh" & all$group == "trained", ]; d <- x$active_minutes; n <- nrow(x)
f <- lm(change ~ d + before, x); ci <- confint(f); three("dose.slope", coef(f)[2], ci[2, 1], ci[2, 2], "stats lm")
f <- lm(change ~ d, x); ci <- confint(f); three("dose.raw_slope", coef(f)[2], ci[2, 1], ci[2, 2], "stats lm")
r <- cor(resid(lm(rank(d) ~ rank(x$before))), resid(lm(rank(x$change) ~ rank(x$before)))); half <- qnorm(.975) * sqrt((1 + r^2 / 2) / (n - 4))
three("dose.rank", r, tanh(atanh(r) - half), tanh(atanh(r) + half), "stats cor of residuals of ranks; Bonett & Wright 2000")

# ---- all visits: mid thigh, level and course of each person
visits <- data("visits"); visits$visit <- factor(visits$visit); visits$time <- visits$visit_day / 7
for (group in c("trained", "waiting")) {
  f <- suppressWarnings(suppressMessages(lmer(value ~ 0 + visit + (1 + time | participant_id), visits[visits$group == group, ],
    control = lmerControl(optimizer = "bobyqa", optCtrl = list(maxfun = 1e6, rhoend = 1e-10)))))
  by <- paste(version("lmerTest"), "contest1D, Kenward-Roger,", version("pbkrtest"))
  # levels in the order of the letters: week0, week16, week8
  k <- contest1D(f, c(-1, 1, 0), ddf = "Kenward-Roger", confint = TRUE); three(paste0("visits.", group, ".change"), k$Estimate, k$lower, k$upper, by)
  k <- contest1D(f, c(1, 0, 0), ddf = "Kenward-Roger", confint = TRUE); three(paste0("visits.", group, ".week0"), k$Estimate, k$lower, k$upper, by)
}
write.csv(do.call(rbind, rows), "invented.csv", row.names = FALSE)
