# Second opinions from R for imputed tables and information criteria. Run in this folder: Rscript marginal.R
# Writes marginal.csv (key, value, computed_by). Needs mice.
suppressWarnings(suppressMessages(library(mice)))
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

write.csv(do.call(rbind, rows), "marginal.csv", row.names = FALSE)
