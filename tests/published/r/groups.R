# Second opinions from R for effect sizes, comparison of groups and important change. Run in this folder: Rscript groups.R
# Writes groups.csv (key, value, computed_by). Needs effectsize, coin, pROC, sandwich.
suppressWarnings(suppressMessages({library(effectsize); library(coin); library(pROC); library(sandwich)}))
version <- function(package) paste(package, as.character(packageVersion(package)))
base <- paste("R", paste(R.version$major, R.version$minor, sep = "."))
rows <- list()
put <- function(key, value, by) rows[[length(rows) + 1]] <<- data.frame(
  key = key, value = formatC(as.numeric(value), digits = 15, format = "g", flag = "#"), computed_by = paste0(base, ", ", by))
data <- function(name) read.csv(file.path("..", "data", name))

anorexia <- data("mass_anorexia.csv")
anorexia$Treat <- relevel(factor(anorexia$Treat), "Cont")
anorexia$Change <- anorexia$Postwt - anorexia$Prewt

# Given the first value, with one residual variance and with HC3
fit <- lm(Postwt ~ Prewt + Treat, anorexia)
robust <- vcovHC(fit, type = "HC3")
t975 <- qt(0.975, fit$df.residual)
for (group in c("CBT", "FT")) {
  name <- paste0("Treat", group)
  b <- coef(fit)[[name]]
  put(paste0("ancova.", group, ".value"), b, "stats lm")
  put(paste0("ancova.", group, ".low"), confint(fit)[name, 1], "stats confint.lm")
  put(paste0("ancova.", group, ".high"), confint(fit)[name, 2], "stats confint.lm")
  put(paste0("ancova.", group, ".p"), summary(fit)$coefficients[name, 4], "stats lm")
  se <- sqrt(robust[name, name]); by <- paste(version("sandwich"), "vcovHC(HC3), t quantile of lm")
  put(paste0("ancova_hc3.", group, ".low"), b - t975 * se, by)
  put(paste0("ancova_hc3.", group, ".high"), b + t975 * se, by)
}
put("ancova.slope", coef(fit)[["Prewt"]], "stats lm")
inter <- anova(fit, lm(Postwt ~ Prewt * Treat, anorexia))
put("ancova.slopes_differ.f", inter$F[2], "stats anova"); put("ancova.slopes_differ.p", inter$"Pr(>F)"[2], "stats anova")
plain <- lm(Change ~ Treat, anorexia)
put("change_score.FT.value", coef(plain)[["TreatFT"]], "stats lm")
put("change_score.FT.low", confint(plain)["TreatFT", 1], "stats confint.lm")
put("change_score.FT.high", confint(plain)["TreatFT", 2], "stats confint.lm")

# Two groups: family treatment against control
ft <- anorexia[anorexia$Treat == "FT", ]; ct <- anorexia[anorexia$Treat == "Cont", ]
w <- t.test(ft$Change, ct$Change)
put("welch.value", mean(ft$Change) - mean(ct$Change), "stats t.test"); put("welch.low", w$conf.int[1], "stats t.test")
put("welch.high", w$conf.int[2], "stats t.test"); put("welch.p", w$p.value, "stats t.test")
d <- cohens_d(ft$Change, ct$Change); by <- paste(version("effectsize"), "cohens_d")
put("two.d_s", d$Cohens_d, by); put("two.d_s_low", d$CI_low, by); put("two.d_s_high", d$CI_high, by)
put("two.g_s", hedges_g(ft$Change, ct$Change)$Hedges_g, paste(version("effectsize"), "hedges_g"))
put("two.d_second", glass_delta(ft$Change, ct$Change)$Glass_delta, paste(version("effectsize"), "glass_delta"))

# Morris (2008) d_ppc2 with the exact factor, equations 8 and 25, worked in base R
J <- function(m) exp(lgamma(m / 2) - lgamma((m - 1) / 2)) / sqrt(m / 2)
n1 <- nrow(ft); n2 <- nrow(ct); m <- n1 + n2 - 2; q <- 1 / n1 + 1 / n2
s <- sqrt(((n1 - 1) * var(ft$Prewt) + (n2 - 1) * var(ct$Prewt)) / m)
centre <- function(g, column) g[[column]] - mean(g[[column]])
x <- c(centre(ft, "Prewt"), centre(ct, "Prewt")); y <- c(centre(ft, "Postwt"), centre(ct, "Postwt"))
r <- sum(x * y) / sqrt(sum(x^2) * sum(y^2))
size <- J(m) * (mean(ft$Change) - mean(ct$Change)) / s
v <- 2 * J(m)^2 * (1 - r) * q * m / (m - 2) * (1 + size^2 / (2 * (1 - r) * q)) - size^2
put("d_ppc2.value", size, "base, Morris 2008 equation 8"); put("d_ppc2.low", size - qnorm(0.975) * sqrt(v), "base, Morris 2008 equation 25")
put("d_ppc2.high", size + qnorm(0.975) * sqrt(v), "base, Morris 2008 equation 25")

# Ranks
sleep_file <- data("sleep_1905.csv"); g2 <- sleep_file$g2; g1 <- sleep_file$g1
signs <- sign(round(outer(g2, g1, "-"), 6)); put("cliff.value", mean(signs), "base, all pairs")
a <- rowMeans(signs) - mean(signs); b <- colMeans(signs) - mean(signs); n <- length(g2)
v <- (n^2 * sum(a^2) + n^2 * sum(b^2) - sum((signs - mean(signs))^2)) / (n^2 * (n - 1)^2)
z <- qnorm(0.975); delta <- mean(signs)
half <- z * sqrt(v) * sqrt((1 - delta^2)^2 + z^2 * v)
put("cliff.low", (delta - delta^3 - half) / (1 - delta^2 + z^2 * v), "base, Feng & Cliff 2004")
put("cliff.high", (delta - delta^3 + half) / (1 - delta^2 + z^2 * v), "base, Feng & Cliff 2004")
both <- data.frame(y = c(round(g2, 6), round(g1, 6)), g = factor(rep(1:2, each = n)))
put("cliff.p", pvalue(wilcox_test(y ~ g, both, distribution = "exact")), paste(version("coin"), "wilcox_test(exact)"))
cbt <- round(anorexia$Change[anorexia$Treat == "CBT"], 6)
rb <- rank_biserial(cbt, rep(0, length(cbt)), paired = TRUE); by <- paste(version("effectsize"), "rank_biserial(paired)")
put("rank_biserial.value", rb$r_rank_biserial, by); put("rank_biserial.low", rb$CI_low, by); put("rank_biserial.high", rb$CI_high, by)
of_ranks <- function(x) { s <- sign(x) * rank(abs(x)); sum(s) / sum(abs(s)) }
r <- of_ranks(cbt); m <- length(cbt); left <- sapply(seq_len(m), function(i) of_ranks(cbt[-i]))
h <- qt(0.975, m - 1) * sqrt((m - 1) / m * sum((left - mean(left))^2)); away <- h * sqrt((1 - r^2)^2 + h^2); by <- "base, jackknife, form of Feng & Cliff 2004"
put("rank_biserial.jackknife_low", (r - r^3 - away) / (1 - r^2 + h^2), by); put("rank_biserial.jackknife_high", (r - r^3 + away) / (1 - r^2 + h^2), by)
two <- data.frame(y = round(c(ft$Change, ct$Change), 6), g = factor(rep(1:2, c(n1, n2))))
put("anorexia_rank_sum.p", pvalue(wilcox_test(y ~ g, two, distribution = "exact")), paste(version("coin"), "wilcox_test(exact)"))

# One group over time: other divisors
put("paired.d_before", mean(ft$Change) / sd(ft$Prewt), "base"); put("paired.g_before", J(n1 - 1) * mean(ft$Change) / sd(ft$Prewt), "base")
put("paired.d_rms", mean(ft$Change) / sqrt((var(ft$Prewt) + var(ft$Postwt)) / 2), "base")
put("paired.d_rm", mean(ft$Change) / sd(ft$Change) * sqrt(2 * (1 - cor(ft$Prewt, ft$Postwt))), "base")
logs <- t.test(log(ft$Postwt / ft$Prewt))
put("percent.mean", mean(100 * ft$Change / ft$Prewt), "base"); put("percent.low", t.test(100 * ft$Change / ft$Prewt)$conf.int[1], "stats t.test")
put("percent.of_mean", 100 * mean(ft$Change) / mean(ft$Prewt), "base")
put("percent.geometric", 100 * expm1(logs$estimate), "stats t.test"); put("percent.geometric_high", 100 * expm1(logs$conf.int[2]), "stats t.test")

# Important change: ROC, and the logistic prediction
asah <- data("proc_asah.csv"); poor <- asah$outcome == "Poor"
curve <- roc(poor, asah$s100b, quiet = TRUE, direction = "<")
put("roc.area", auc(curve), paste(version("pROC"), "roc")); ci <- ci.auc(curve); by <- paste(version("pROC"), "ci.auc(delong)")
put("roc.low", ci[1], by); put("roc.high", ci[3], by)
away <- qnorm(0.975) * sqrt(var(curve)) / (auc(curve) * (1 - auc(curve))); by <- paste(version("pROC"), "var(delong), base plogis")
put("roc.logit_low", plogis(qlogis(auc(curve)) - away), by); put("roc.logit_high", plogis(qlogis(auc(curve)) + away), by)
best <- coords(curve, "best", best.method = "youden"); by <- paste(version("pROC"), "coords(best, youden)")
put("roc.cut", best$threshold, by); put("roc.sensitivity", best$sensitivity, by); put("roc.specificity", best$specificity, by)
logit <- glm(poor ~ asah$s100b, family = binomial, control = glm.control(epsilon = 1e-14, maxit = 100))
p <- mean(poor); predicted <- (log(p / (1 - p)) - coef(logit)[[1]]) / coef(logit)[[2]]
put("predicted.value", predicted, "stats glm(binomial), Terluin et al 2015")
put("adjusted.value", predicted - (0.090 + 0.103 * cor(asah$s100b, poor)) * sd(asah$s100b) * log(p / (1 - p)),
    "stats glm(binomial), Terluin et al 2017, formula from memory")
write.csv(do.call(rbind, rows), "groups.csv", row.names = FALSE)
